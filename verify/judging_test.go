package verify_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/fat32"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// A card is good by what was written to it, and by the plan alone; without
// either nothing can be said. Judging reads every file once and writes nothing.
func TestGoodCards(t *testing.T) {
	s := newScene(t)
	writes := s.card.Counts().Writes
	var progress int64
	var payload int64
	for _, f := range s.layout.Files() {
		payload += f.Size
	}
	for name, expected := range map[string]*verify.Expected{"written": s.written(), "planned": s.planned()} {
		progress = 0
		r := verify.Card(t.Context(), s.card, s.card.Bytes(), expected, func(n int64) { progress += n })
		require.Equal(t, verify.Good, r.Verdict, "%s: %s", name, told(r))
		assert.Equal(t, s.outcome.Digest, r.Digest)
		assert.Equal(t, payload, progress)
		assert.Equal(t, len(s.job.Card.Files), r.Counts.FilesMatching)
		assert.Equal(t, len(s.layout.Files()), r.Counts.Files)
		assert.Equal(t, payload, int64(r.Counts.BytesOfFiles))
		c := r.Counts
		assert.Zero(t, c.FilesDiffering+c.FilesMissing+c.FilesUnexpected+c.FilesUnreadable+c.FindingsLeftOut, "%+v", c)
		assert.Less(t, int64(r.Counts.BytesRead), 2*payload+20<<20)
	}
	r := judge(s.card, nil)
	assert.Equal(t, verify.Unchecked, r.Verdict)
	assert.Len(t, found(r, verify.NothingExpected), 1)
	assert.Equal(t, writes, s.card.Counts().Writes)
}

// alteration is something that happens to a card, and what is then told.
type alteration struct {
	hand    [][]string // by mtools
	bytes   func(s *scene, m *mediatest.Memory)
	expect  func(s *scene, e *verify.Expected)
	reader  func(s *scene, m *mediatest.Memory) mediatest.Medium
	kind    verify.Kind
	path    string
	verdict verify.Verdict
}

const plot = "01-flybridge/plot12.upd"

var alterations = map[string]alteration{
	"blank": {
		bytes: func(s *scene, m *mediatest.Memory) { zero(s, m, 0, s.layout.Geometry().DataOffset()) },
		kind:  verify.NoFileSystem, verdict: verify.Bad,
	},
	"never finished": {
		bytes: func(s *scene, m *mediatest.Memory) {
			for _, w := range s.layout.Boot() {
				zero(s, m, w.Offset, int64(len(w.Data)))
			}
		},
		kind: verify.NoFileSystem, verdict: verify.Bad,
	},
	"the second FAT differs": {
		bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, s.layout.Geometry().FATOffset(1)+12, 1) },
		kind:  verify.Structure, verdict: verify.Bad,
	},
	"no boot sector": {
		bytes: func(s *scene, m *mediatest.Memory) { zero(s, m, 4<<20, 512) },
		kind:  verify.NoFileSystem, verdict: verify.Bad,
	},
	"a sector of a file can't be read": {
		reader: func(s *scene, m *mediatest.Memory) mediatest.Medium {
			return mediatest.ReadError(m, s.place(plot)+600_000, errBroken)
		},
		kind: verify.Unreadable, path: plot, verdict: verify.Unchecked,
	},
	"a sector before the partition can't be read": {
		reader: func(_ *scene, m *mediatest.Memory) mediatest.Medium { return mediatest.ReadError(m, 1<<20, errBroken) },
		kind:   verify.Unreadable, verdict: verify.Unchecked,
	},
	"too small": {
		expect: func(s *scene, e *verify.Expected) { e.Limits = media.Limits{Least: shoptest.Small + 1, Most: 1 << 40} },
		kind:   verify.TooSmall, verdict: verify.Bad,
	},
	"too large": {
		expect: func(s *scene, e *verify.Expected) { e.Limits = media.Limits{Least: 1, Most: shoptest.Small - 1} },
		kind:   verify.TooLarge, verdict: verify.Bad,
	},
	"deleted":             {hand: [][]string{{"mdel", "::" + plot}}, kind: verify.MissingFile, path: plot, verdict: verify.Bad},
	"its folder deleted":  {hand: [][]string{{"mdeltree", "::01-flybridge"}}, kind: verify.MissingFile, path: plot, verdict: verify.Bad},
	"a photo added":       {hand: [][]string{{"mcopy", "photo.jpg", "::photo.jpg"}}, kind: verify.ExtraFile, path: "photo.jpg", verdict: verify.Bad},
	"a photo beside":      {hand: [][]string{{"mcopy", "photo.jpg", "::02-radar/photo.jpg"}}, kind: verify.ExtraFile, path: "02-radar/photo.jpg", verdict: verify.Bad},
	"a folder added":      {hand: [][]string{{"mmd", "::Tracks"}}, kind: verify.ExtraFolder, path: "Tracks", verdict: verify.Bad},
	"cut short":           {hand: [][]string{{"mcopy", "-o", "short.bin", "::" + plot}}, kind: verify.SizeDiffers, path: plot, verdict: verify.Bad},
	"not empty any more":  {hand: [][]string{{"mcopy", "-o", "short.bin", "::01-flybridge/notes.txt"}}, kind: verify.SizeDiffers, path: "01-flybridge/notes.txt", verdict: verify.Bad},
	"a file is a folder":  {hand: [][]string{{"mdel", "::" + plot}, {"mmd", "::" + plot}}, kind: verify.MissingFile, path: plot, verdict: verify.Bad},
	"renamed in its case": {hand: [][]string{{"mren", "::" + plot, "::01-flybridge/x"}, {"mren", "::01-flybridge/x", "::01-flybridge/PLOT12.UPD"}}, kind: verify.NameCase, path: "01-flybridge/PLOT12.UPD", verdict: verify.Good},
	"one bit flipped":     {bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, s.place(plot)+123, 4) }, kind: verify.ContentDiffers, path: plot, verdict: verify.Bad},
	"the record deleted":  {hand: [][]string{{"mdel", "::_card/record.json"}}, kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad},
	"the record replaced": {hand: [][]string{{"mcopy", "-o", "order.txt", "::_card/record.json"}}, kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad},
	"the record too long": {hand: [][]string{{"mcopy", "-o", "big.bin", "::_card/record.json"}}, kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad},
	"the record a folder": {hand: [][]string{{"mdel", "::_card/record.json"}, {"mmd", "::_card/record.json"}}, kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad},
	"the record, too long and in another case": {
		hand: [][]string{{"mdel", "::_card/record.json"}, {"mcopy", "big.bin", "::_card/RECORD.JSON"}},
		kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad,
	},
	"the sums deleted":       {hand: [][]string{{"mdel", "::_card/SHA256SUMS"}}, kind: verify.SumsAltered, path: media.SumsPath, verdict: verify.Bad},
	"the sums emptied":       {hand: [][]string{{"mcopy", "-o", "empty", "::_card/SHA256SUMS"}}, kind: verify.SumsAltered, path: media.SumsPath, verdict: verify.Bad},
	"the sums a folder":      {hand: [][]string{{"mdel", "::_card/SHA256SUMS"}, {"mmd", "::_card/SHA256SUMS"}}, kind: verify.SumsAltered, path: media.SumsPath, verdict: verify.Bad},
	"the install order gone": {hand: [][]string{{"mdel", "::_card/install-order.txt"}}, kind: verify.OrderAltered, path: media.InstallOrderPath, verdict: verify.Bad},
	"another install order":  {hand: [][]string{{"mcopy", "-o", "order.txt", "::_card/install-order.txt"}}, kind: verify.OrderAltered, path: media.InstallOrderPath, verdict: verify.Bad},
	"the install order a folder": {
		hand: [][]string{{"mdel", "::_card/install-order.txt"}, {"mmd", "::_card/install-order.txt"}},
		kind: verify.OrderAltered, path: media.InstallOrderPath, verdict: verify.Bad,
	},
	"the record's folder deleted": {hand: [][]string{{"mdeltree", "::_card"}}, kind: verify.NoRecord, path: media.RecordFolder, verdict: verify.Bad},
	"the record's folder a file":  {hand: [][]string{{"mdeltree", "::_card"}, {"mcopy", "order.txt", "::_card"}}, kind: verify.RecordAltered, path: media.RecordPath, verdict: verify.Bad},
	"for another vessel": {
		expect: func(s *scene, e *verify.Expected) {
			e.Record.Vessel, e.Record.VesselName = "morven-rose", "Morven Rose"
		},
		kind: verify.OtherVessel, path: media.RecordPath, verdict: verify.Bad,
	},
	"for another plan": {
		expect: func(s *scene, e *verify.Expected) { e.Record.Plan = strings.Repeat("0", 64) },
		kind:   verify.OtherPlan, path: media.RecordPath, verdict: verify.Bad,
	},
	"another card of the set": {
		expect: func(s *scene, e *verify.Expected) { e.Record.Card, e.Record.Of = 2, 3 },
		kind:   verify.OtherCard, path: media.RecordPath, verdict: verify.Bad,
	},
	"a vessel that needs nothing": {
		expect: func(s *scene, e *verify.Expected) {
			*e = verify.Expected{Nothing: true, Record: media.Record{Vessel: "kittiwake", VesselName: "Kittiwake"}}
		},
		kind: verify.NothingNeeded, verdict: verify.Bad,
	},
	"something before the partition": {
		bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, 1<<20, 1) },
		kind:  verify.DigestDiffers, verdict: verify.Bad,
	},
}

var errBroken = errors.New("broken")

func zero(s *scene, m *mediatest.Memory, at, length int64) {
	_, err := m.WriteAt(make([]byte, length), at)
	require.NoError(s.t, err)
}

// Whatever happens to a card is told by its kind, where it happened, and what
// was expected, found and should be done; the verdict follows.
func TestAlterations(t *testing.T) {
	s := newScene(t)
	dir := hand(t)
	for name, a := range alterations {
		t.Run(name, func(t *testing.T) {
			expected := s.written()
			if len(a.hand) > 0 { // the digest tells of anything; without it the files have to
				expected.Digest = ""
			}
			if a.expect != nil {
				a.expect(s, expected)
			}
			m := s.copy()
			if len(a.hand) > 0 {
				m = s.byHand(dir, a.hand...)
			}
			if a.bytes != nil {
				a.bytes(s, m)
			}
			var reader mediatest.Medium = m
			if a.reader != nil {
				reader = a.reader(s, m)
			}
			r := judge(reader, expected)
			require.Equal(t, a.verdict, r.Verdict, told(r))
			all := found(r, a.kind)
			require.NotEmpty(t, all, told(r))
			paths := []string{}
			for _, f := range all {
				paths = append(paths, f.Path)
				for _, text := range []string{f.Expected, f.Found, f.Meaning, f.Advice} {
					assert.NotEmpty(t, text, "%+v", f)
				}
			}
			if a.path != "" {
				assert.Contains(t, paths, a.path)
			}
		})
	}
}

// A card without our record is told of; where the record may be missing, it
// can be good all the same.
func TestCardWithoutOurRecord(t *testing.T) {
	s := newScene(t)
	m := s.byHand(hand(t), []string{"mdeltree", "::_card"})
	e := s.written()
	e.Digest = ""
	assert.Equal(t, verify.Bad, judge(m, e).Verdict)
	r := judge(m, s.planned())
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	assert.Len(t, found(r, verify.NoRecord), 1)
}

// Files that may be there are told of and do no harm.
func TestFilesBeside(t *testing.T) {
	s := newScene(t)
	m := s.byHand(hand(t), []string{"mcopy", "photo.jpg", "::"})
	e := s.planned()
	e.Beside = true
	r := judge(m, e)
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	assert.Len(t, found(r, verify.ExtraFile), 1)
}

// A package that wants to be alone is on its card with nothing else, not even
// a record.
func TestAlone(t *testing.T) {
	shop := shoptest.New(t, t.TempDir())
	rules := shoptest.AnyCard()
	rules.Alone, rules.Folder = true, "/"
	shop.Model("solveld-beacon-1", rules)
	shop.Device("ais", "solveld-beacon-1")
	shop.Step("ais", "1.6", "", shoptest.Make("beacon1.upd", 12345, 1))
	s := sceneOf(t, shop, 1, shoptest.Small)
	for _, e := range []*verify.Expected{s.written(), s.planned()} {
		r := judge(s.card, e)
		require.Equal(t, verify.Good, r.Verdict, told(r))
	}
	m := s.byHand(hand(t), []string{"mmd", "::_card"}, []string{"mcopy", "order.txt", "::_card/record.json"})
	r := judge(m, s.planned())
	assert.Equal(t, verify.Bad, r.Verdict)
	assert.NotEmpty(t, found(r, verify.ExtraFile))
}

// Other file systems are named, and are no card of ours.
func TestOtherFileSystems(t *testing.T) {
	s := newScene(t)
	for fileSystem, mkfs := range map[string][]string{
		"FAT16": {"mkfs.fat", "-F", "16"}, "exFAT": {"mkfs.exfat"}, "NTFS": {"mkntfs", "-F", "-Q", "-q"},
	} {
		path := filepath.Join(t.TempDir(), "card.img")
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		require.NoError(t, os.Truncate(path, shoptest.Small))
		cmd := exec.Command(mkfs[0], append(mkfs[1:], path)...)
		cmd.Env = append(os.Environ(), "PATH="+os.Getenv("PATH")+":/usr/sbin:/sbin")
		if p, err := exec.LookPath("/usr/sbin/" + mkfs[0]); err == nil {
			cmd.Path, cmd.Err = p, nil
		}
		out, err := cmd.CombinedOutput()
		require.NoErrorf(t, err, "%s (make test installs %s)", out, mkfs[0])
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		m := mediatest.NewMemory(shoptest.Small)
		_, err = m.WriteAt(content, 0)
		require.NoError(t, err)
		r := judge(m, s.planned())
		assert.Equal(t, verify.Bad, r.Verdict, told(r))
		other := found(r, verify.OtherFileSystem)
		require.Len(t, other, 1, told(r))
		assert.Equal(t, fileSystem, other[0].Found)
	}
}

// Two file systems are one too many: devices differ in which they read.
func TestTwoFileSystems(t *testing.T) {
	s := newScene(t)
	m := s.copy()
	table := make([]byte, 512)
	_, err := m.ReadAt(table, 0)
	require.NoError(t, err)
	// a second entry, for a copy of the file system in the upper half
	half := int64(shoptest.Small / 2)
	copy(table[462:478], table[446:462])
	sector := uint32(half / 512)
	copy(table[470:474], []byte{byte(sector), byte(sector >> 8), byte(sector >> 16), byte(sector >> 24)})
	_, err = m.WriteAt(table, 0)
	require.NoError(t, err)
	head := make([]byte, 1<<20)
	_, err = m.ReadAt(head, 4<<20)
	require.NoError(t, err)
	_, err = m.WriteAt(head, half)
	require.NoError(t, err)
	assert.Equal(t, verify.Bad, judge(m, s.planned()).Verdict)
}

// One flipped bit of any byte of any package on the card is bad. The file is
// named, and the first differing MiB by running digests alone: those of the
// writer, or of the record on the card where the plan has none; with the
// package at hand, the byte.
func TestAnyFlippedByteIsFound(t *testing.T) {
	s := newScene(t)
	packages := s.planned().Package
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(s.payload()).Draw(t, "file")
		at := rapid.Int64Range(0, f.Size-1).Draw(t, "byte")
		m := s.copy()
		s.flip(m, f.Offset+at, 1<<rapid.IntRange(0, 7).Draw(t, "bit"))
		block := at / media.BlockSize
		mib := fmt.Sprintf("first different in MiB %d of the file (bytes %d to %d)",
			block, block*media.BlockSize, min((block+1)*media.BlockSize, f.Size)-1)
		for name, e := range map[string]*verify.Expected{"written": s.written(), "planned": s.planned()} {
			e.Package = nil
			r := judge(m, e)
			require.Equal(t, verify.Bad, r.Verdict, name)
			all := found(r, verify.ContentDiffers)
			require.Len(t, all, 1, name)
			require.Equal(t, f.Path, all[0].Path, name)
			require.Contains(t, all[0].Found, mib, name)
			require.Equal(t, 1, r.Counts.FilesDiffering)
			require.Empty(t, found(r, verify.RecordAltered), "%s: it is the file that differs", name)
		}
		e := s.written()
		e.Package = packages
		require.Contains(t, found(judge(m, e), verify.ContentDiffers)[0].Found, fmt.Sprintf("first different at byte %d of the file", at))
	})
}

// Where neither the plan nor a record has running digests, no MiB is named,
// rather than a wrong one.
func TestFlippedByteWithoutRunningDigests(t *testing.T) {
	s := newScene(t)
	m := s.byHand(hand(t), []string{"mcopy", "-o", "short.bin", "::_card/record.json"})
	s.flip(m, s.place(plot)+2<<20, 1)
	e := s.planned()
	e.Package = nil
	all := found(judge(m, e), verify.ContentDiffers)
	require.Len(t, all, 1)
	assert.NotContains(t, all[0].Found, "MiB")
}

// A package that was replaced together with the record's digests of it is
// still not the planned one, and its MiB isn't told by a record that disagrees.
func TestRecordThatWasAlteredWithItsFile(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	genuine := sceneOf(t, shop, 1, shoptest.Small)
	forged := genuine.job
	forged.Card.Files = append([]media.CardFile{}, forged.Card.Files...)
	other := shoptest.Make("plot12.upd", 3<<20+17, 66)
	forged.Card.Files[0].SHA256 = digest.Of(other.Content)
	packages := t.TempDir()
	require.NoError(t, os.CopyFS(packages, os.DirFS(filepath.Join(shop.Dir, "packages"))))
	require.NoError(t, os.WriteFile(filepath.Join(packages, "fennick-plot-12/4.0-12/plot12.upd"), other.Content, 0o600))
	forged.Packages = media.Packages{Dir: packages}
	m := mediatest.NewMemory(shoptest.Small)
	o := forged.Write(t.Context(), []media.Target{{Medium: m, Judge: func(context.Context, io.ReaderAt, media.Record, string) error { return nil }}})[0]
	require.NoError(t, o.Err)
	e := genuine.planned()
	e.Package = nil
	r := judge(m, e)
	assert.Equal(t, verify.Bad, r.Verdict)
	all := found(r, verify.ContentDiffers)
	require.Len(t, all, 1)
	assert.NotContains(t, all[0].Found, "MiB")
	assert.Len(t, found(r, verify.RecordAltered), 1)
}

// No card of which anything that counts can't be read is called good, wherever
// it is, and whether or not the digest of the written card is known.
func TestReadErrorsAreNeverGood(t *testing.T) {
	s := newScene(t)
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Int64Range(0, s.layout.Geometry().DataOffset()-1).Draw(t, "structure")
		if rapid.Bool().Draw(t, "in a file") {
			f := rapid.SampledFrom(s.layout.Files()).Filter(func(f fat32.Placed) bool { return f.Size > 0 }).Draw(t, "file")
			at = f.Offset + rapid.Int64Range(0, f.Size-1).Draw(t, "byte")
		}
		broken := mediatest.ReadError(s.card, at, errBroken)
		for name, e := range map[string]*verify.Expected{"written": s.written(), "planned": s.planned(), "unknown": nil} {
			r := judge(broken, e)
			require.NotEqual(t, verify.Good, r.Verdict, name)
			require.Empty(t, r.Digest)
			require.NotEmpty(t, found(r, verify.Unreadable), "%s: %s", name, told(r))
		}
	})
}

// A reader that gives fewer bytes than it was asked for, with or without an
// error, never makes a good card of a bad one, nor stops the judging.
func TestShortReads(t *testing.T) {
	s := newScene(t)
	bad := s.copy()
	s.flip(bad, s.payload()[0].Offset, 1)
	rapid.Check(t, func(t *rapid.T) {
		nth, keep := rapid.IntRange(1, 40).Draw(t, "nth"), rapid.IntRange(0, 1<<20).Draw(t, "keep")
		err := rapid.SampledFrom([]error{nil, io.EOF, io.ErrUnexpectedEOF, errBroken}).Draw(t, "error")
		require.NotEqual(t, verify.Good, judge(mediatest.ShortRead(bad, nth, keep, err), s.planned()).Verdict)
	})
}

// Interrupted, a card is not good, nor bad.
func TestInterrupted(t *testing.T) {
	s := newScene(t)
	for _, after := range []int64{0, 1, 2 << 20} {
		ctx, interrupt := context.WithCancel(t.Context())
		if after == 0 {
			interrupt()
		}
		var read int64
		r := verify.Card(ctx, s.card, s.card.Bytes(), s.written(), func(n int64) {
			if read += n; read >= after {
				interrupt()
			}
		})
		interrupt()
		assert.Equal(t, verify.Unchecked, r.Verdict, told(r))
		assert.Empty(t, r.Digest)
	}
}

// What a finding does to the verdict: whatever stops makes it bad, whatever
// leaves something unknown makes it unchecked, and bad is the worse.
func TestVerdicts(t *testing.T) {
	s := newScene(t)
	stop := verify.Finding{Kind: verify.ExtraFile, Severity: verify.Stop}
	warn := verify.Finding{Kind: verify.NameCase, Severity: verify.Warn}
	note := verify.Finding{Kind: verify.FolderOnly, Severity: verify.Note}
	unread := verify.Finding{Kind: verify.Unreadable, Severity: verify.Stop}
	cached := verify.Finding{Kind: verify.NotFromMedium, Severity: verify.Warn}
	nothing := verify.Finding{Kind: verify.NothingExpected, Severity: verify.Warn}
	for _, c := range []struct {
		verdict  verify.Verdict
		findings []verify.Finding
	}{
		{verify.Good, nil},
		{verify.Good, []verify.Finding{warn, note}},
		{verify.Bad, []verify.Finding{stop}},
		{verify.Unchecked, []verify.Finding{unread}},
		{verify.Unchecked, []verify.Finding{cached, warn}},
		{verify.Unchecked, []verify.Finding{nothing}},
		{verify.Bad, []verify.Finding{unread, stop}},
		{verify.Bad, []verify.Finding{stop, unread}},
		{verify.Bad, []verify.Finding{cached, note, stop, warn}},
	} {
		r := judge(s.card, s.written())
		for _, f := range c.findings {
			r.Add(f)
		}
		assert.Equal(t, c.verdict, r.Verdict, "%v", c.findings)
	}
}

// However many findings there are, a report keeps a bounded number, counts the
// rest, and its verdict is that of all of them.
func TestFindingsAreBounded(t *testing.T) {
	s := newScene(t)
	dir := s.folderOf(t, t.TempDir())
	const more = 100
	for i := range verify.MaxFindings + more {
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("photo%d.jpg", i)), []byte("x"), 0o600))
	}
	r := verify.Folder(t.Context(), dir, s.folderExpected(), nil)
	assert.Equal(t, verify.Bad, r.Verdict)
	assert.Len(t, r.Findings, verify.MaxFindings)
	assert.GreaterOrEqual(t, r.Counts.FindingsLeftOut, more)

	e := s.folderExpected()
	e.Beside = true // then they are only told
	r = verify.Folder(t.Context(), dir, e, nil)
	assert.NotEqual(t, verify.Bad, r.Verdict)
	left := r.Counts.FindingsLeftOut
	assert.GreaterOrEqual(t, left, more)
	r.AddImageOnly()
	r.Add(verify.Finding{Kind: verify.ExtraFile, Severity: verify.Stop})
	assert.Equal(t, verify.Bad, r.Verdict)
	assert.Len(t, r.Findings, verify.MaxFindings+2, "what the caller adds is kept")
	assert.Equal(t, left, r.Counts.FindingsLeftOut)
}
