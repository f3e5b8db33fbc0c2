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

const plot = "01-flybridge/plot12.upd"

// tampering is what happens to a good card between the shop and the boat, and all
// that must be reported, notes aside: severity, kind and path.
type tampering struct {
	hand   string                                               // by mtools, a command a line
	bytes  func(s *scene, m *mediatest.Memory)                  // on the medium
	reader func(s *scene, m *mediatest.Memory) mediatest.Medium // on the way from it
	asked  func(e *verify.Expected)                             // or another card was asked for
	told   []string
}

// Half made, worn or fake: no device may take it for a finished card.
var unfinished = map[string]tampering{
	"its first 4 MiB blank": {bytes: func(s *scene, m *mediatest.Memory) { zero(s, m, 0, s.layout.Geometry().DataOffset()) }, told: []string{"stop no-file-system"}},
	"its writing interrupted": {bytes: func(s *scene, m *mediatest.Memory) {
		for _, w := range s.layout.Boot() {
			zero(s, m, w.Offset, int64(len(w.Data)))
		}
	}, told: []string{"stop no-file-system"}},
	"its boot sector lost":      {bytes: func(s *scene, m *mediatest.Memory) { zero(s, m, 4<<20, 512) }, told: []string{"stop no-file-system"}},
	"its FATs differ":           {bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, s.layout.Geometry().FATOffset(1)+12, 1) }, told: []string{"stop structure", "stop digest-differs"}},
	"a byte before its volume":  {bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, 1<<20, 1) }, told: []string{"stop digest-differs"}},
	"one bit of a file flipped": {bytes: func(s *scene, m *mediatest.Memory) { s.flip(m, s.place(plot)+123, 4) }, told: []string{"stop content-differs " + plot, "stop digest-differs"}},
	"smaller than devices read": {asked: func(e *verify.Expected) { e.Limits = media.Limits{Least: shoptest.Small + 1, Most: 1 << 40} }, told: []string{"stop too-small"}},
	"larger than devices read":  {asked: func(e *verify.Expected) { e.Limits = media.Limits{Least: 1, Most: shoptest.Small - 1} }, told: []string{"stop too-large"}},
}

// Its files changed by a person, a computer or an attacker.
var changedFiles = map[string]tampering{
	"a package deleted":              {hand: "mdel ::" + plot, told: []string{"stop missing-file " + plot}},
	"a package's folder deleted":     {hand: "mdeltree ::01-flybridge", told: []string{"stop missing-file 01-flybridge/notes.txt", "stop missing-file " + plot}},
	"a package cut short":            {hand: "mcopy -o short.bin ::" + plot, told: []string{"stop size-differs " + plot}},
	"a package made a folder":        {hand: "mdel ::" + plot + "\nmmd ::" + plot, told: []string{"stop missing-file " + plot, "stop extra-folder " + plot}},
	"an empty file filled":           {hand: "mcopy -o short.bin ::01-flybridge/notes.txt", told: []string{"stop size-differs 01-flybridge/notes.txt"}},
	"a photo added":                  {hand: "mcopy photo.jpg ::photo.jpg", told: []string{"stop extra-file photo.jpg"}},
	"a photo added beside a package": {hand: "mcopy photo.jpg ::02-radar/photo.jpg", told: []string{"stop extra-file 02-radar/photo.jpg"}},
	"a folder added":                 {hand: "mmd ::Tracks", told: []string{"stop extra-folder Tracks"}},
}

// Its record changed, so that it would vouch for something else.
var changedRecord = map[string]tampering{
	"the record deleted":          {hand: "mdel ::_card/record.json", told: []string{"stop record-altered " + media.RecordPath}},
	"the record replaced":         {hand: "mcopy -o order.txt ::_card/record.json", told: []string{"stop record-altered " + media.RecordPath}},
	"the record too long":         {hand: "mcopy -o big.bin ::_card/record.json", told: []string{"stop record-altered " + media.RecordPath}},
	"the record a folder":         {hand: "mdel ::_card/record.json\nmmd ::_card/record.json", told: []string{"stop record-altered " + media.RecordPath}},
	"the record in another case":  {hand: "mdel ::_card/record.json\nmcopy big.bin ::_card/RECORD.JSON", told: []string{"stop record-altered " + media.RecordPath, "warn name-case _card/RECORD.JSON"}},
	"the digests deleted":         {hand: "mdel ::_card/SHA256SUMS", told: []string{"stop sums-altered " + media.SumsPath}},
	"the digests emptied":         {hand: "mcopy -o empty ::_card/SHA256SUMS", told: []string{"stop sums-altered " + media.SumsPath}},
	"the digests a folder":        {hand: "mdel ::_card/SHA256SUMS\nmmd ::_card/SHA256SUMS", told: []string{"stop sums-altered " + media.SumsPath}},
	"the install order deleted":   {hand: "mdel ::_card/install-order.txt", told: []string{"stop install-order-altered " + media.InstallOrderPath}},
	"the install order replaced":  {hand: "mcopy -o order.txt ::_card/install-order.txt", told: []string{"stop install-order-altered " + media.InstallOrderPath}},
	"the install order a folder":  {hand: "mdel ::_card/install-order.txt\nmmd ::_card/install-order.txt", told: []string{"stop install-order-altered " + media.InstallOrderPath}},
	"the record's folder deleted": {hand: "mdeltree ::_card", told: []string{"stop no-record " + media.RecordFolder}},
	"the record's folder a file":  {hand: "mdeltree ::_card\nmcopy order.txt ::_card", told: []string{"stop record-altered " + media.RecordPath, "stop sums-altered " + media.SumsPath, "stop install-order-altered " + media.InstallOrderPath}},
}

// Right by its own word, and not the card that was asked for.
var otherCards = map[string]tampering{
	"for another vessel":      {asked: func(e *verify.Expected) { e.Record.Vessel, e.Record.VesselName = "morven-rose", "Morven Rose" }, told: []string{"stop other-vessel " + media.RecordPath}},
	"for another plan":        {asked: func(e *verify.Expected) { e.Record.Plan = strings.Repeat("0", 64) }, told: []string{"stop other-plan " + media.RecordPath}},
	"another card of the set": {asked: func(e *verify.Expected) { e.Record.Card, e.Record.Of = 2, 3 }, told: []string{"stop other-card " + media.RecordPath}},
	"for a vessel that needs none": {asked: func(e *verify.Expected) {
		*e = verify.Expected{Nothing: true, Record: media.Record{Vessel: "kittiwake", VesselName: "Kittiwake"}}
	}, told: []string{"stop nothing-needed", "stop other-plan " + media.RecordPath, "stop extra-file 01-flybridge/notes.txt", "stop extra-file " + plot, "stop extra-file 02-radar/sweep/firmware.img", "stop extra-file 02-radar/sweep/table.bin", "stop extra-file 03-pilot/course/main.bin", "stop extra-file 03-pilot/course/rudder.bin"}},
}

// What can't be read isn't known to be wrong, and is never good.
var unreadable = map[string]tampering{
	"a sector of a package": {reader: func(s *scene, m *mediatest.Memory) mediatest.Medium {
		return mediatest.ReadError(m, s.place(plot)+600_000, errBroken)
	}, told: []string{"stop unreadable " + plot}},
	"a sector before the volume": {reader: func(_ *scene, m *mediatest.Memory) mediatest.Medium {
		return mediatest.ReadError(m, 1<<20, errBroken)
	}, told: []string{"stop unreadable"}},
}

// What does no harm is reported.
var harmlessChanges = map[string]tampering{
	"a package renamed in letter case": {hand: "mren ::" + plot + " ::01-flybridge/x\nmren ::01-flybridge/x ::01-flybridge/PLOT12.UPD", told: []string{"warn name-case 01-flybridge/PLOT12.UPD"}},
}

func TestUnfinishedCardsAreBad(t *testing.T)             { tampered(t, verify.Bad, unfinished) }
func TestCardsWithChangedFilesAreBad(t *testing.T)       { tampered(t, verify.Bad, changedFiles) }
func TestCardsWithAChangedRecordAreBad(t *testing.T)     { tampered(t, verify.Bad, changedRecord) }
func TestCardsForSomethingElseAreBad(t *testing.T)       { tampered(t, verify.Bad, otherCards) }
func TestCardsThatCannotBeReadAreUnchecked(t *testing.T) { tampered(t, verify.Unchecked, unreadable) }

func TestHarmlessChangesAreTold(t *testing.T) { tampered(t, verify.Good, harmlessChanges) }

// tampered has each thing happen to a copy of a good card. The verdict follows, and
// just what happened is reported, with what was expected and found, what it means and
// what to do.
func tampered(t *testing.T, verdict verify.Verdict, all map[string]tampering) {
	s := newScene(t)
	dir := hand(t)
	for name, c := range all {
		t.Run(name, func(t *testing.T) {
			expected := s.written()
			var medium mediatest.Medium = s.copy()
			if c.hand != "" {
				expected.Digest = "" // it reports anything; without it the files have to
				var commands [][]string
				for line := range strings.SplitSeq(c.hand, "\n") {
					commands = append(commands, strings.Fields(line))
				}
				medium = s.byHand(dir, commands...)
			}
			if c.bytes != nil {
				c.bytes(s, medium.(*mediatest.Memory))
			}
			if c.reader != nil {
				medium = c.reader(s, medium.(*mediatest.Memory))
			}
			if c.asked != nil {
				c.asked(expected)
			}
			r := judge(medium, expected)
			assert.Equal(t, verdict, r.Verdict, told(r))
			assert.Equal(t, c.told, toldBut(r, verify.Note), told(r))
			for _, f := range r.Findings {
				if f.Severity != verify.Note {
					assert.NotContains(t, []string{f.Expected, f.Found, f.Meaning, f.Advice}, "", "%+v", f)
				}
			}
		})
	}
}

// toldBut are a report's findings but those of a severity.
func toldBut(r verify.Report, but verify.Severity) (all []string) {
	for _, f := range r.Findings {
		if f.Severity != but {
			all = append(all, strings.TrimSpace(fmt.Sprintf("%s %s %s", f.Severity, f.Kind, f.Path)))
		}
	}
	return all
}

var errBroken = errors.New("broken")

func zero(s *scene, m *mediatest.Memory, at, length int64) {
	_, err := m.WriteAt(make([]byte, length), at)
	require.NoError(s.t, err)
}

// A card without our record is reported; where the record may be missing, it
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

// Files that may be there are reported and do no harm.
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
