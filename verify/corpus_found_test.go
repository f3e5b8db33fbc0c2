package verify_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// moved is a good card with one package in another folder.
func moved(name, folder string) func(s *stranger) {
	return func(s *stranger) {
		s.fat32()
		s.right(name)
		s.put(folder+"/"+name, s.pkg(name))
	}
}

// Cards that were called good, or bad, and should not have been.
var corpusFound = map[string]handed{
	// A device may take the newest of what a folder holds.
	"a release beside another that is in its place": {
		make: moved(plot40, "01-helm/3.5"), verdict: verify.Bad,
		kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7",
	},
	"the older release beside the newer": {
		make: moved(plot35, "01-helm/4.0-7"), verdict: verify.Bad,
		kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7",
	},
	"a release in a folder within another's": {
		make: moved(plot40, "01-helm/3.5/new"), verdict: verify.Bad,
		kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7",
	},
	"a release in the root, another below it": {make: func(s *stranger) {
		s.fat32()
		s.right(plot35)
		s.put(plot35, s.pkg(plot35))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7"},
	"both releases in the root": {make: func(s *stranger) {
		s.fat32()
		s.right(plot35, plot40)
		s.put(plot35, s.pkg(plot35))
		s.put(plot40, s.pkg(plot40))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7"},
	"each release in a folder of its own, moved": {make: func(s *stranger) {
		s.fat32()
		s.right(plot35, plot40)
		s.put("first/"+plot35, s.pkg(plot35))
		s.put("then/"+plot40, s.pkg(plot40))
	}, verdict: verify.Good, kinds: []verify.Kind{verify.MovedFolder}, not: []verify.Kind{verify.TwoPackages}},

	// Names that some device takes for a wanted one.
	"a file whose name is the wanted one's in small letters": {shop: beaconInDeck, make: func(s *stranger) {
		s.good()
		s.put("Decx/"+beacon, []byte("something else"))
		s.relabel(2, "DECX       ", 'x', '\u212a')
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: `also the name of "deck"`},
	"a name with a long s": {make: func(s *stranger) {
		s.fat32()
		s.right()
		s.put("beacon1.upd.\u017f", []byte("x"))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFile}, not: []verify.Kind{verify.Structure}},
	"a wanted name that only some devices take for it": {shop: beaconInDeck, make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		s.put("dec\u212a/"+beacon, s.pkg(beacon))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.MissingFile}, words: "only some devices take the name of"},
	"a short name that is a wanted name": {make: func(s *stranger) {
		s.good()
		s.put("Something long.txt", []byte("x"))
		s.rename(2, "SOMETH~1TXT", "BEACON1 UPD")
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: `also the name of`},
	"a long name that is a wanted file's short one": {make: func(s *stranger) {
		s.good()
		s.put("01-helm/4.0-7/plot9-~1.upd", []byte("x"))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFile}},

	// Behind the end mark.
	"a package behind the end of the root folder": {
		make: func(s *stranger) { s.good(); s.behind(2, 100, "PLOT    UPD", 0x20, 500, 20000) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.BehindEnd}, words: "ends like a package's",
	},
	"a package behind the end of a folder": {
		make:    func(s *stranger) { s.good(); s.behind(s.clusters("01-helm/3.5")[0], 900, "X       UPD", 0x20, 500, 1) },
		verdict: verify.Bad, kinds: []verify.Kind{verify.BehindEnd}, words: "ends like a package's",
	},
	"a file of a package's size behind the end": {
		make: func(s *stranger) { s.good(); s.behind(2, 100, "WHATEVER   ", 0x20, 500, 30001) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.BehindEnd}, words: "30,001 bytes",
	},
	"the wanted name once more behind the end": {
		make: func(s *stranger) { s.good(); s.behind(2, 100, "BEACON1 UPD", 0x20, 500, 7) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.BehindEnd}, words: "named like a wanted file",
	},
	"a folder that leads to a package behind the end": {make: func(s *stranger) {
		s.good()
		s.behind(2, 100, "OLD        ", 0x10, s.clusters("01-helm/3.5")[0], 0)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.BehindEnd}, words: "the name of a package"},
	"the fixed folder of a device behind the end": {
		shop: beaconInDeck, vessel: "",
		make: func(s *stranger) { s.good(); s.behind(2, 100, "DECK       ", 0x10, 4000, 0) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.BehindEnd}, words: "a folder on the way to one",
	},
	"a photo behind the end": {
		make: func(s *stranger) { s.good(); s.behind(2, 100, "IMG_0001JPG", 0x20, 500, 1234567) }, verdict: verify.Good,
		kinds: []verify.Kind{verify.MinorDamage}, words: `the first of them "IMG_0001.JPG"`, not: []verify.Kind{verify.BehindEnd},
	},
	"a photo behind the end, where a device installs at power-up": {
		shop: beaconAtPowerUp, make: func(s *stranger) { s.good(); s.behind(2, 100, "IMG_0001JPG", 0x20, 500, 1234567) },
		verdict: verify.Bad, kinds: []verify.Kind{verify.BehindEnd},
	},
	"noise behind the end": {make: func(s *stranger) {
		s.good()
		p := s.places()
		s.patch(p.of(2)+p.cluster-512, bytes.Repeat([]byte{0x77}, 512)...)
	}, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}},

	// What no device depends on.
	"texts in the boot code where a table would stand": {
		make: func(s *stranger) { s.good(); s.bootText(0, 6) }, verdict: verify.Good,
		not: []verify.Kind{verify.Structure, verify.MinorDamage},
	},
	"texts in the boot code, not in its copy": {
		make: func(s *stranger) { s.good(); s.bootText(0) }, verdict: verify.Good,
		kinds: []verify.Kind{verify.MinorDamage}, words: "of the card", not: []verify.Kind{verify.Structure},
	},
	"texts in the boot code, within a partition": {make: func(s *stranger) {
		s.partitioned("c")
		s.bootText(0, 6)
	}, verdict: verify.Good, not: []verify.Kind{verify.Structure}},
	"a byte of boot code": {
		make: func(s *stranger) { s.good(); s.patch(300, 0x5A) }, verdict: verify.Good,
		kinds: []verify.Kind{verify.MinorDamage}, not: []verify.Kind{verify.Structure},
	},
	// FAT32 specification, "Boot Sector and BPB": BPB_BkBootSec is 0 or 6.
	"no copy of the boot sector kept": {
		make: func(s *stranger) { s.good(); s.patch(50, 0, 0) }, verdict: verify.Good,
		kinds: []verify.Kind{verify.MinorDamage}, words: "none is kept", not: []verify.Kind{verify.Structure},
	},
	"the copy of the boot sector past the room for it": {
		make: func(s *stranger) { s.good(); s.patch(50, 200, 0) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure},
	},
	"another label and number in the boot sector's copy": {
		make: func(s *stranger) { s.good(); s.patch(6*512+67, 1, 2, 3, 4, 'X') }, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage},
	},
	"a table in the boot sector that can be true": {make: func(s *stranger) {
		s.good()
		s.patch(446, 0x80, 1, 1, 0, 0x0C, 0, 0, 0)
		s.patch(454, binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, 8192), 100000)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "both, the table with a partition at sector 8192"},
	"a table in the boot sector of which one entry leads to a file system": {make: func(s *stranger) {
		s.good()
		s.bootText(0)
		outside(s.t, "", "mkfs.fat", "-F", "32", "-h", "4194304", "--offset", "4194304", s.path, "1000000")
		s.patch(462, 0, 1, 1, 0, 0x0C, 0, 0, 0)
		s.patch(470, binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, 4194304), 2000000)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "partition at sector 4194304"},
	"a table in the boot sector that leads past the card": {make: func(s *stranger) {
		s.good()
		for _, sector := range []int64{0, 6} {
			s.patch(sector*512+446, 0x80, 1, 1, 0, 0x0C, 0, 0, 0)
			s.patch(sector*512+454, binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, 8192), 4000000000)...)
		}
	}, verdict: verify.Good, not: []verify.Kind{verify.Structure}},
	"the backup of a GPT from before, at the card's end": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:0", "-t", "1:0700", s.path)
		s.patch(512, make([]byte, 33*512)...)
		s.patch(0, make([]byte, 512)...)
		s.table("label: dos\nstart=8192, size=7500000, type=c\n")
		s.patch(corpusCard-512, []byte("EFI PART")...)
		s.within(3600, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}, not: []verify.Kind{verify.Structure}},
}

// relabel changes a letter of a long name of at most 13, whose short name stays.
func (s *stranger) relabel(folder uint32, short string, from, to rune) {
	s.t.Helper()
	at := s.entry(folder, short) - 32
	i := bytes.Index(s.bytes(at, 32), []byte{byte(from), byte(from >> 8)})
	require.Positive(s.t, i)
	s.patch(at+int64(i), byte(to), byte(to>>8))
}

// behind puts an entry behind a folder's end mark, that many entries from its
// beginning.
func (s *stranger) behind(folder uint32, entry int64, name string, attributes byte, first uint32, size uint32) {
	s.t.Helper()
	e := make([]byte, 32)
	copy(e, name)
	e[11] = attributes
	binary.LittleEndian.PutUint16(e[20:], uint16(first>>16))
	binary.LittleEndian.PutUint16(e[26:], uint16(first))
	binary.LittleEndian.PutUint32(e[28:], size)
	at := s.places().of(folder) + entry*32
	require.Zero(s.t, s.bytes(at-32, 1)[0], "the folder ends before that")
	s.patch(at, e...)
}

// bootText puts texts into boot sectors as desktop systems do: code, messages
// up to the signature, and where they begin.
func (s *stranger) bootText(sectors ...int64) {
	text := "\r\nNothing to start from on this card.\xff\r\nCard error\xff\r\nTake it out and press a key\r\n\x00\x00\xac\xcb\xd8"
	for _, sector := range sectors {
		s.patch(s.start+sector*512+510-int64(len(text)), []byte(text)...)
	}
}

// Bytes that were replaced since the card was made are reported as such, with the
// day, wherever they stand; so is a file that was taken out.
func TestReplacedBytes(t *testing.T) {
	was := make([]byte, 4096)
	was[7] = 1
	sum := sha256.Sum256(was)
	for name, c := range map[string]struct {
		by, path string
		kind     verify.Kind
		found    string
		meaning  string
	}{
		"in its place": {"aa", beacon, verify.ContentDiffers, "replaced on 2026-02-03", "until it was replaced on 2026-02-03: the first lost its number"},
		"elsewhere":    {"aa", "old/" + beacon, verify.ContentDiffers, "replaced on 2026-02-03", "until it was replaced on 2026-02-03"},
		"taken out":    {"", "old/notes.upd", verify.ContentDiffers, "taken out on 2026-02-03", "taken out of its release on 2026-02-03"},
	} {
		t.Run(name, func(t *testing.T) {
			shop := changed("catalogue/solveld-beacon-1.yaml", "    minutes: 5\n", "    minutes: 5\nhistory:\n  - version: 1.6\n    file: beacon1.upd\n"+
				"    size: 4096\n    sha256: "+hex.EncodeToString(sum[:])+"\n    until: 2026-02-03\n    why: the first lost its number\n"+replacedBy(c.by))
			s := newStranger(t, corpusShopWith(t, shop), "kittiwake", corpusCard)
			s.fat32()
			s.right(beacon)
			s.put(c.path, was)
			r := judgeStranger(t, s, "kittiwake")
			require.Equal(t, verify.Bad, r.Verdict, told(r))
			all := found(r, c.kind)
			require.Len(t, all, 1, told(r))
			assert.Contains(t, all[0].Found, c.found)
			assert.Contains(t, all[0].Meaning, c.meaning)
		})
	}
}

func replacedBy(digit string) string {
	if digit == "" {
		return ""
	}
	return "    by: " + strings.Repeat(digit, 32) + "\n"
}

// A folder that a card is mounted on is judged like a card: another name that
// a device may take for a wanted one, or for a folder that leads there, is reported.
func TestFoldersWithTwins(t *testing.T) {
	s := newScene(t)
	for name, c := range map[string]struct {
		put  string
		kind verify.Kind
	}{
		"a file in other letter case":           {"01-flybridge/PLOT12.UPD", verify.SameName},
		"a folder in other letter case":         {"01-FLYBRIDGE/x.txt", verify.SameName},
		"the record's folder once more":         {"_CARD/record.json", verify.SameName},
		"a record in other letter case":         {"_card/Record.json", verify.SameName},
		"a look-alike by the Kelvin sign":       {"02-radar/sweep/firmware.img\u212a", verify.ExtraFile},
		"a letter put together with its accent": {"_card/install-order.t\u0131xt", verify.ExtraFile},
	} {
		dir := s.folderOf(t, t.TempDir())
		p := filepath.Join(dir, filepath.FromSlash(c.put))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
		require.NoError(t, os.WriteFile(p, []byte("something else"), 0o600))
		for _, beside := range []bool{false, true} {
			e := s.folderExpected()
			e.Beside = beside
			r := verify.Folder(t.Context(), dir, e, nil)
			if c.kind == verify.SameName || !beside || strings.HasPrefix(c.put, "_card/") {
				assert.Equal(t, verify.Bad, r.Verdict, "%s: %s", name, told(r))
				assert.NotEmpty(t, found(r, c.kind), "%s: %s", name, told(r))
			}
		}
	}
}

// The record's folder holds only what it lists and a signature.
func TestRecordFolderHoldsNothingElse(t *testing.T) {
	s := newScene(t)
	signature := "untrusted comment: x\n" + strings.Repeat("A", 100) + "\ntrusted comment: y\n" + strings.Repeat("A", 88) + "\n"
	for name, c := range map[string]struct {
		path, content string
		verdict       verify.Verdict
		kind          verify.Kind
	}{
		"a program for a signature":            {media.SignaturePath, "MZ" + strings.Repeat("\x90", 3000), verify.Bad, verify.SignerUnknown},
		"a short program for a signature":      {media.SignaturePath, "#!/bin/sh\n", verify.Bad, verify.SignerUnknown},
		"a package for a signature":            {media.SignaturePath, string(shoptest.Make("plot12.upd", 3<<20+17, 1).Content), verify.Bad, verify.SignerUnknown},
		"something like a signature":           {media.SignaturePath, signature, verify.Bad, verify.SignerUnknown},
		"a signature with something behind it": {media.SignaturePath, goodSignature(t) + "and more\n", verify.Bad, verify.SignerUnknown},
		"a signature with a long comment":      {media.SignaturePath, strings.Replace(goodSignature(t), "comment: ", "comment: "+strings.Repeat("x", 1000), 1), verify.Bad, verify.SignerUnknown},
		"another's signature":                  {media.SignaturePath, goodSignature(t), verify.Good, verify.SignerUnknown},
		"a text":                               {"_card/notes.txt", "x", verify.Bad, verify.ExtraFile},
		"a program":                            {"_card/setup.exe", "MZ", verify.Bad, verify.Executable},
		"a package":                            {"_card/plot12.upd", "x", verify.Bad, verify.ExtraFile},
		"a hidden file":                        {"_card/.x", "x", verify.Bad, verify.HiddenFile},
		"a folder with a file":                 {"_card/more/notes.txt", "x", verify.Bad, verify.ExtraFile},
		"an empty file":                        {"_card/empty", "", verify.Bad, verify.ExtraFile},
	} {
		for _, beside := range []bool{false, true} {
			dir := s.folderOf(t, t.TempDir())
			p := filepath.Join(dir, filepath.FromSlash(c.path))
			require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
			require.NoError(t, os.WriteFile(p, []byte(c.content), 0o600))
			e := s.folderExpected()
			e.Beside = beside
			r := verify.Folder(t.Context(), dir, e, nil)
			if len(found(r, verify.NotFromMedium)) > 0 && c.verdict == verify.Good {
				continue // the file system can't be read past its cache
			}
			assert.Equal(t, c.verdict, r.Verdict, "%s: %s", name, told(r))
			assert.NotEmpty(t, found(r, c.kind), "%s: %s", name, told(r))
		}
	}
}

// A package next to the card's own files, where its device looks, is one that it
// may take; elsewhere it is beside.
func TestFoldersWithPackagesBeside(t *testing.T) {
	s := newScene(t)
	for path, verdict := range map[string]verify.Verdict{"01-flybridge/other.upd": verify.Bad, "old/other.upd": verify.Good, "01-flybridge/track.gpx": verify.Good} {
		dir := s.folderOf(t, t.TempDir())
		p := filepath.Join(dir, filepath.FromSlash(path))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
		require.NoError(t, os.WriteFile(p, []byte("something else"), 0o600))
		e := s.folderExpected()
		e.Beside = true
		r := verify.Folder(t.Context(), dir, e, nil)
		assert.Equal(t, verdict == verify.Bad, r.Verdict == verify.Bad, "%s: %s", path, told(r))
	}
}

// An install order on the card that names a folder which isn't there any more
// is reported; on a card without one nobody can be misled.
func TestOutdatedOrder(t *testing.T) {
	stranger := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
	moved(sweep, "radar one")(stranger)
	r := judgeStranger(t, stranger, "kittiwake")
	require.Equal(t, verify.Good, r.Verdict, told(r))
	assert.NotEmpty(t, found(r, verify.MovedFolder))
	assert.False(t, r.OrderOutdated())

	s := newScene(t)
	e := s.planned()
	_, plan := s.shop.Lay(shoptest.Small)
	e.Aboard = &verify.Aboard{Shop: s.shop.Shop, Vessel: s.shop.Vessel, Plan: plan, Card: 1}
	require.False(t, judge(s.card, e).OrderOutdated())
	r = judge(s.byHand(hand(t), []string{"mren", "::01-flybridge", "::01-flybridgf"}), e)
	require.Equal(t, verify.Good, r.Verdict, told(r))
	assert.True(t, r.OrderOutdated())
	outdated := found(r, verify.OutdatedOrder)
	require.Len(t, outdated, 1)
	assert.Equal(t, "/01-flybridge", outdated[0].Found)
	assert.Equal(t, "/01-flybridgf", outdated[0].Expected)
}

func goodSignature(t testing.TB) string {
	text, err := newKey(t).Sign([]byte("something else"))
	require.NoError(t, err)
	return string(text)
}
