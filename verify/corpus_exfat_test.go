package verify_test

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"cardwright/verify"
)

// exFAT cards are made by mkfs.exfat, filled through exfat-fuse, a file system
// driver that shares no code with anything here, and judged by fsck.exfat.

var (
	allReadExFAT = readsAlso("exfat", "fennick-plot-9", "solveld-beacon-1")
	oneReadsIt   = readsAlso("exfat", "fennick-plot-9")
	allReadFAT16 = readsAlso("fat16", "fennick-plot-9", "solveld-beacon-1")
)

// readsAlso are the catalogue files of models that read one more file system.
func readsAlso(fileSystem string, models ...string) map[string]string {
	all := map[string]string{}
	for _, m := range models {
		for name, text := range changed("catalogue/"+m+".yaml", "file_systems: [fat32]", "file_systems: [fat32, "+fileSystem+"]") {
			all[name] = text
		}
	}
	return all
}

const rightButWrong = "Right files, wrong file system"

var corpusExFAT = map[string]handed{
	"exFAT, empty": {
		make: func(s *stranger) { s.onExFAT() }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem, verify.MissingFile}, words: "exFAT", says: "Use another card: PREPARE",
	},
	"exFAT, right files": {
		make: func(s *stranger) { s.onExFAT(); s.right(); s.fsckExFAT() }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem}, words: "exFAT", says: rightButWrong,
		not: []verify.Kind{verify.MissingFile, verify.Structure, verify.MinorDamage},
	},
	"exFAT, what to do about it": {
		make: func(s *stranger) { s.onExFAT("-c", "4K", "-L", "KITTIWAKE"); s.right() }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem}, says: "Copy them to a card that your devices can read: REPAIR",
	},
	"exFAT in a partition, right files": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, type=7\n")
		s.start = 4 << 20
		s.onExFAT()
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, says: rightButWrong, not: []verify.Kind{verify.Structure}},
	"exFAT in a partition that says FAT32": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, type=c\n")
		s.start = 4 << 20
		s.onExFAT()
		s.right()
	}, shop: allReadExFAT, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type 0x0c"},
	"exFAT that every device reads": {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(); s.fsckExFAT() }, verdict: verify.Good, kinds: []verify.Kind{verify.NoRecord}},
	"exFAT that one of the devices reads": {
		shop: oneReadsIt, make: func(s *stranger) { s.onExFAT(); s.right() }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem}, says: rightButWrong,
	},
	"exFAT without a vessel": {vessel: "-", make: func(s *stranger) { s.onExFAT(); s.put(beacon, s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem, verify.KnownRelease}, says: "No vessel was named"},
	"exFAT, one file missing": {
		make: func(s *stranger) { s.onExFAT(); s.right(sweep) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem, verify.MissingFile}, says: "Some of the files are right",
	},
	"exFAT, a file altered":       {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(beacon); s.put(beacon, flipped(s.pkg(beacon), 777)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ContentDiffers}, words: "first different at byte 777"},
	"exFAT, a file cut short":     {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(beacon); s.put(beacon, s.pkg(beacon)[:1000]) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated}, words: "stops at byte 1000"},
	"exFAT, renamed":              {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(beacon); s.put("beacon1 (1).upd", s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.RenamedFile, verify.MissingFile}},
	"exFAT, in other letter case": {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(beacon); s.put("BEACON1.upd", s.pkg(beacon)) }, verdict: verify.Good, kinds: []verify.Kind{verify.NameCase}},
	"exFAT, still zipped": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right(beacon)
		s.put("b.zip", s.zip(map[string][]byte{beacon: s.pkg(beacon)}))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped, verify.MissingFile}, words: "beacon1.upd of solveld-beacon-1 1.6"},
	"exFAT, clutter":   {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(); s.put(".DS_Store", []byte("x")) }, verdict: verify.Good, kinds: []verify.Kind{verify.Clutter}},
	"exFAT, a program": {shop: allReadExFAT, make: func(s *stranger) { s.onExFAT(); s.right(); s.put("setup.exe", []byte("MZ")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Executable}},
	"exFAT, a hidden wanted file": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		s.alterSet(beacon, func(set []byte) { set[4] |= 2 })
		s.fsckExFAT()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.HiddenFile}, words: "marked as hidden"},
	// What was never written reads as zeros, whatever the clusters hold.
	"exFAT, a file that was written in part": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		s.alterSet(beacon, func(set []byte) { binary.LittleEndian.PutUint64(set[32+8:], 1000) })
		s.fsckExFAT()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.ContentDiffers}, words: "first different at byte 1000"},
	"exFAT, an archive that was written in part": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		s.put("b.zip", s.zip(map[string][]byte{beacon: s.pkg(beacon)}))
		s.alterSet("b.zip", func(set []byte) { binary.LittleEndian.PutUint64(set[32+8:], 100) })
		s.fsckExFAT()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped}, words: "damaged"},
	"exFAT, a set of entries altered": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		at, _ := s.set(beacon)
		s.patch(at+2, s.bytes(at+2, 1)[0]^1)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"exFAT, a boot sector altered": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		s.patch(200, 0x5A)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"exFAT, not taken out cleanly": {shop: allReadExFAT, make: func(s *stranger) {
		s.onExFAT()
		s.right()
		s.patch(106, 2)
	}, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}},
	"FAT16 that every device reads": {shop: allReadFAT16, make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=2097152, type=6\n")
		s.within(1024, "-F", "16")
		s.right()
	}, verdict: verify.Good, kinds: []verify.Kind{verify.NoRecord}},
	"FAT16, a file altered": {shop: allReadFAT16, make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=2097152, type=6\n")
		s.within(1024, "-F", "16")
		s.right(beacon)
		s.put(beacon, flipped(s.pkg(beacon), 4000))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.ContentDiffers}, words: "byte 4000"},
}

// onExFAT makes a file system from where the card's partition begins to its end.
func (s *stranger) onExFAT(args ...string) {
	s.exfat = true
	s.onLoop(func(loop string) { outside(s.t, "", "mkfs.exfat", append(args, loop)...) })
}

// onLoop gives a loop drive over the card's partition.
func (s *stranger) onLoop(do func(loop string)) {
	s.t.Helper()
	loop := strings.TrimSpace(outside(s.t, "", "losetup", "-f", "--show", "-o", decimal(s.start), s.path))
	defer outside(s.t, "", "losetup", "-d", loop)
	do(loop)
}

// mounted gives the folder where the exFAT file system is mounted meanwhile.
func (s *stranger) mounted(do func(dir string)) {
	s.t.Helper()
	dir := filepath.Join(filepath.Dir(s.path), "mounted")
	require.NoError(s.t, os.MkdirAll(dir, 0o700))
	s.onLoop(func(loop string) {
		outside(s.t, "", "mount.exfat-fuse", loop, dir)
		defer s.unmount(dir)
		do(dir)
	})
}

// unmount waits for what a process that is just being started still holds.
func (s *stranger) unmount(dir string) {
	s.t.Helper()
	for range 50 {
		if exec.Command(outsideTool(s.t, "umount"), dir).Run() == nil {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	outside(s.t, "", "umount", dir)
}

func (s *stranger) write(dir, name string, content []byte) {
	s.t.Helper()
	p := filepath.Join(dir, filepath.FromSlash(name))
	require.NoError(s.t, os.MkdirAll(filepath.Dir(p), 0o700))
	require.NoError(s.t, os.WriteFile(p, content, 0o600))
}

// fsckExFAT has fsck.exfat find nothing wrong. (Of some faults it only prints
// a line and ends well.)
func (s *stranger) fsckExFAT() {
	s.t.Helper()
	s.onLoop(func(loop string) {
		require.NotContains(s.t, outside(s.t, "", "fsck.exfat", "-n", loop), "ERROR")
	})
}

// set finds a file's set of entries by its name (exFAT specification, table 34)
// within the first 64 MiB.
func (s *stranger) set(name string) (at int64, set []byte) {
	s.t.Helper()
	entry := []byte{0xC1, 0}
	for _, u := range utf16.Encode([]rune(path.Base(name))) {
		entry = binary.LittleEndian.AppendUint16(entry, u)
	}
	head := s.bytes(s.start, 64<<20)
	i := bytes.Index(head, entry)
	require.GreaterOrEqual(s.t, i, 64, name)
	require.EqualValues(s.t, 0x85, head[i-64], name)
	return s.start + int64(i-64), head[i-64:][:(1+int(head[i-63]))*32]
}

// alterSet changes a file's set of entries and gives it a right checksum
// (exFAT specification, figure 2).
func (s *stranger) alterSet(name string, change func(set []byte)) {
	s.t.Helper()
	at, set := s.set(name)
	change(set)
	sum := uint16(0)
	for i, b := range set {
		if i != 2 && i != 3 {
			sum = sum>>1 | sum<<15
			sum += uint16(b)
		}
	}
	binary.LittleEndian.PutUint16(set[2:], sum)
	s.patch(at, set...)
}

// An exFAT card that can't be read in places is unchecked there, and all else
// is checked.
func TestCorpusExFATReadError(t *testing.T) {
	s := newStranger(t, corpusShopWith(t, allReadExFAT), "kittiwake", corpusCard)
	s.onExFAT()
	s.right()
	head := s.bytes(0, 64<<20)
	at := int64(bytes.Index(head, s.pkg(beacon)))
	require.Positive(t, at)
	image, err := os.Open(s.path)
	require.NoError(t, err)
	defer image.Close()
	r := judgeBy(t, s, &overlay{ReaderAt: image, fails: at + 1000}, "kittiwake")
	require.Equal(t, verify.Unchecked, r.Verdict, told(r))
	require.Len(t, found(r, verify.Unreadable), 1)
	require.Equal(t, len(s.files)-1, r.Counts.FilesMatching)
}

// A folder that is mounted from a card of another file system isn't called
// good for its files alone.
func TestCorpusFolderOnExFAT(t *testing.T) {
	s := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
	s.onExFAT()
	s.right()
	s.mounted(func(dir string) {
		e := asked(t, s.shop, "kittiwake", 0, verify.ListFolder(dir))
		r := verify.Folder(t.Context(), dir, e, nil)
		require.Equal(t, verify.Unchecked, r.Verdict, told(r))
		require.Equal(t, len(s.files), r.Counts.FilesMatching)
		require.Len(t, found(r, verify.UncommonLayout), 1)
	})
}
