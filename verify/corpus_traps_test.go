package verify_test

import (
	"encoding/binary"
	"math/rand"

	"github.com/stretchr/testify/require"

	"cardwright/verify"
)

// Cards that look right, or look lost, and what they are.
var corpusTraps = map[string]handed{
	// The beginning is gone.
	"the first sector wiped, its copy whole": {
		make: func(s *stranger) { s.good(); s.patch(0, make([]byte, 512)...) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.NoFileSystem}, words: "its copy, in sector 6, is intact", says: "The files may still be there",
	},
	"the first sector overwritten with noise, its copy whole": {
		make: func(s *stranger) { s.good(); s.patch(0, noise(512)...) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.NoFileSystem}, words: "sector 6, is intact", says: "do not format it or write to it",
	},
	"the first sector of a partition wiped": {make: func(s *stranger) {
		s.partitioned("c")
		s.patch(4<<20, make([]byte, 512)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}, words: "sector 6, is intact"},
	"the partition table wiped": {make: func(s *stranger) {
		s.partitioned("c")
		s.patch(0, make([]byte, 512)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}, words: "begins further on", says: "The partition table is gone"},
	"both copies of the boot sector useless": {make: func(s *stranger) {
		s.good()
		s.patch(11, 0, 0)
		s.patch(6*512+11, 0, 0)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem, verify.Structure}, words: "whose boot sector and backup are both unusable"},
	"blank, in words": {make: func(*stranger) {}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}, words: "zeros", says: "blank"},

	// Encrypted, or looks so. LUKS1 On-Disk Format Specification, figure 1.
	"a LUKS header": {
		make: func(s *stranger) { s.patch(0, append([]byte("LUKS\xba\xbe\x00\x01"), noise(1<<20)...)...) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherFileSystem}, words: "LUKS",
	},
	"a LUKS header in a partition": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, type=83\n")
		s.patch(4<<20, append([]byte("LUKS\xba\xbe\x00\x02"), noise(1<<20)...)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "LUKS"},
	"noise in the first MiB": {
		make: func(s *stranger) { s.patch(0, noise(1<<20)...) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.NoFileSystem}, words: "without any pattern", says: "encrypted",
	},

	// Partitions.
	"two FAT32 file systems in a GPT": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:+1G", "-t", "1:0700", "-n", "2:4194304:0", "-t", "2:0700", s.path)
		outside(s.t, "", "mkfs.fat", "-F", "32", "-h", "4194304", "--offset", "4194304", s.path, "1000000")
		s.within(1024, "-F", "32", "-s", "8")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "2 file systems"},
	"a GPT with a hybrid MBR": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:0", "-t", "1:0700", "-h", "1", s.path)
		s.within(3715, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure, verify.UncommonLayout}, words: "a partition of its own"},
	"an EFI system partition in a GPT": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:0", "-t", "1:ef00", s.path)
		s.within(3715, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type c12a7328"},
	"type 0x0b":                    {make: func(s *stranger) { s.partitioned("b") }, verdict: verify.Good},
	"type 0x0e, FAT16's":           {make: func(s *stranger) { s.partitioned("e") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type 0x0e"},
	"type 0x83":                    {make: func(s *stranger) { s.partitioned("83") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type 0x83"},
	"type 0x1c, hidden":            {make: func(s *stranger) { s.partitioned("1c") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type 0x1c"},
	"type 0xef, an EFI system's":   {make: func(s *stranger) { s.partitioned("ef") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "type 0xef"},
	"a partition past the card":    {make: func(s *stranger) { s.partitioned("c"); s.patch(446+12, 0, 0, 0, 0x7F) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "ending at byte"},
	"a partition in front, empty":  {make: func(s *stranger) { s.within2("start=2048, size=2048, type=c\nstart=8192, type=c\n") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "2 partitions"},
	"a partition in front, Linux'": {make: func(s *stranger) { s.within2("start=2048, size=2048, type=83\nstart=8192, type=c\n") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "2 partitions"},
	"the second entry alone":       {make: func(s *stranger) { s.within2("2 : start=8192, type=c\n") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "entry 2"},
	"a logical partition":          {make: func(s *stranger) { s.within2("start=2048, type=5\nstart=8192, type=c\n") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "entry 5"},

	// The boot sector lies.
	"one FAT of two": {make: func(s *stranger) {
		s.good()
		s.patch(16, 1)
		s.patch(6*512+16, 1)
	}, verdict: verify.Bad},
	"half as many reserved sectors": {make: func(s *stranger) { s.good(); s.patch(14, 16); s.patch(6*512+14, 16) }, verdict: verify.Bad},
	"clusters of another size":      {make: func(s *stranger) { s.good(); s.patch(13, 32); s.patch(6*512+13, 32) }, verdict: verify.Bad},
	"more sectors than the card":    {make: func(s *stranger) { s.good(); s.patch(35, 0x70); s.patch(6*512+35, 0x70) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"FAT size 2^32-1":               {make: func(s *stranger) { s.good(); s.patch(36, 255, 255, 255, 255) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a root folder at cluster 3":    {make: func(s *stranger) { s.good(); s.patch(44, 3); s.patch(6*512+44, 3) }, verdict: verify.Bad},
	"mirroring switched off":        {make: func(s *stranger) { s.good(); s.patch(40, 0x81); s.patch(6*512+40, 0x81) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"clusters of 64 KiB":            {size: 8_000_000_000, make: func(s *stranger) { s.bare("-F", "32", "-s", "128"); s.right() }, verdict: verify.Unchecked, kinds: []verify.Kind{verify.UncommonLayout}, words: "65536"},
	"FAT16, straight on the card":   {size: 1 << 30, make: func(s *stranger) { s.bare("-F", "16"); s.right() }, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem, verify.TooSmall}, says: rightButWrong},
	"FAT12, straight on the card":   {size: 8 << 20, make: func(s *stranger) { s.bare("-F", "12"); s.right() }, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem, verify.TooSmall}, says: rightButWrong},
	"FAT32 of too few clusters":     {size: 16 << 20, make: func(s *stranger) { s.bare("-F", "32", "-s", "1") }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "32232"},
	"clusters marked bad":           {make: func(s *stranger) { s.good(); s.link(7000, 0x0FFFFFF7); s.link(7001, 0x0FFFFFF7) }, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}, words: "2 clusters marked bad"},

	// Entries.
	"two files on one chain": {make: func(s *stranger) {
		s.good()
		c := s.clusters(sweepAt)[0]
		at := s.entry(2, "BEACON1 UPD")
		s.patch(at+26, byte(c), byte(c>>8))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure, verify.ContentDiffers}},
	// the same content twice, on one chain: each file is right when read
	"two right files on one chain": {shop: beaconIsRadar, make: func(s *stranger) {
		s.good()
		c := s.clusters(sweepAt)[0]
		at := s.entry(2, "BEACON1 UPD")
		s.patch(at+26, byte(c), byte(c>>8))
		s.patch(at+28, binary.LittleEndian.AppendUint32(nil, 12345)...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a hidden wanted file":        {make: func(s *stranger) { s.good(); s.mtool("", "mattrib", "+h", "::"+beacon) }, verdict: verify.Bad, kinds: []verify.Kind{verify.HiddenFile}, words: "marked as hidden"},
	"a wanted file of the system": {make: func(s *stranger) { s.good(); s.mtool("", "mattrib", "+s", "::"+beacon) }, verdict: verify.Bad, kinds: []verify.Kind{verify.HiddenFile}},
	"a wanted file in a hidden folder": {
		make: func(s *stranger) { s.good(); s.mtool("", "mattrib", "+h", "::"+sweepFolder) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.HiddenFile}, words: "marked as hidden", not: []verify.Kind{verify.MissingFile},
	},
	"a wanted file that is read-only": {make: func(s *stranger) { s.good(); s.mtool("", "mattrib", "+r", "::"+beacon) }, verdict: verify.Good},
	"a wanted file with the label's bit": {make: func(s *stranger) {
		s.good()
		s.patch(s.entry(2, "BEACON1 UPD")+11, 0x28)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure, verify.MissingFile}},
	"a wanted file that was deleted": {make: func(s *stranger) {
		s.good()
		s.patch(s.entry(2, "BEACON1 UPD"), 0xE5)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.MissingFile}},
	"a folder in a wanted file's place": {make: func(s *stranger) { s.fat32(); s.right(beacon); s.folders(beacon) }, verdict: verify.Bad, kinds: []verify.Kind{verify.MissingFile}},
	"another short name than a wanted file's": {make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		s.put("Beacon1.upd", s.pkg(beacon))
		s.rename(2, "BEACON1 UPD", "BEAC~1  UPD")
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherShortName}, words: "BEAC~1.UPD"},
	"a short name with another ending": {make: func(s *stranger) {
		s.good()
		s.rename(s.clusters("01-helm/4.0-7")[0], "PLOT9-~1UPD", "PLOT9-~1EXE")
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherShortName}, words: "PLOT9-~1.EXE"},
	"a letter that only looks like another": {shop: beaconInDeck, make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		s.put("dec\u212a/"+beacon, s.pkg(beacon)) // the Kelvin sign, whose small letter is k
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.WrongFolder, verify.MissingFile}},
	"a wanted file under its folder's long name in capitals": {shop: beaconInDeck, make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		s.put("DECK/"+beacon, s.pkg(beacon))
	}, verdict: verify.Good, kinds: []verify.Kind{verify.NameCase}},

	// What passes for clutter.
	"a package in the bin":             {make: func(s *stranger) { s.good(); s.put("$RECYCLE.BIN/"+plot35, s.pkg(plot35)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.OlderRelease}},
	"a program in the bin":             {make: func(s *stranger) { s.good(); s.put("$RECYCLE.BIN/$R1.exe", []byte("MZ")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Executable}},
	"an unknown package in the bin":    {make: func(s *stranger) { s.good(); s.put("$RECYCLE.BIN/$R1.upd", []byte("?")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFile}},
	"a beginning in a lost folder":     {make: func(s *stranger) { s.good(); s.put("LOST.DIR/"+plot40, s.pkg(plot40)[:999]) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated}},
	"a package that only begins ._":    {make: func(s *stranger) { s.good(); s.put("._"+beacon, s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NotNeeded}},
	"something unknown that begins ._": {make: func(s *stranger) { s.good(); s.put("._"+beacon, []byte("?")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.HiddenFile}},

	"a step's file in the bin alone": {make: func(s *stranger) {
		s.fat32()
		s.right(plot40)
		s.put("$RECYCLE.BIN/"+plot40, s.pkg(plot40))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.WrongFolder, verify.MissingFile}},
	"a step's file in a folder hidden by its name": {make: func(s *stranger) {
		s.fat32()
		s.right(plot40)
		s.put("plotter/.old/"+plot40, s.pkg(plot40))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.WrongFolder, verify.MissingFile}},
	"two steps' releases in one folder": {make: func(s *stranger) {
		s.fat32()
		s.right(plot35, plot40)
		s.put("plotter/"+plot35, s.pkg(plot35))
		s.put("plotter/"+plot40, s.pkg(plot40))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.TwoPackages}, words: "3.5 and 4.0-7"},

	// Contents.
	"a package of another variant": {
		shop: changed("catalogue/solveld-beacon-1.yaml", "    minutes: 5\n", "    minutes: 5\n"+northern),
		make: func(s *stranger) { s.good(); s.put("beacon1n.upd", s.pkg(beacon)[:2048]) }, verdict: verify.Bad,
		kinds: []verify.Kind{verify.OtherVariant}, words: "beacon1n.upd of solveld-beacon-1 1.6",
	},
	"several archives in one": {make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		inner := s.zip(map[string][]byte{beacon: s.pkg(beacon)})
		s.put("all.zip", s.zip(map[string][]byte{"a.zip": inner, "b.zip": inner, plot40: s.pkg(plot40)}))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped, verify.MissingFile}, words: "plot9-4.0-7.upd of fennick-plot-9 4.0-7; archives inside it were not opened"},
}

// beaconIsRadar has the transponder's package be the same bytes as the radar's.
var beaconIsRadar = changed("catalogue/solveld-beacon-1.yaml",
	"size: 4096", "size: 12345",
	"772c6bfe7ba2d86ac9f2cb539bc128b131295b5148ab59fe62d4fee6bf799c5c", "9cd675cd2f3149e35c208d7e0d533859a36eccd06afd491e1c3cf385d9053f6d")

var beaconInDeck = changed("catalogue/solveld-beacon-1.yaml", "folder: /", "folder: /deck")

// northern is a release of the first half of the transponder's package.
var northern = `  - version: 1.6
    variant: north
    released: 2026-01-20
    files:
      - name: beacon1n.upd
        size: 2048
        sha256: ` + sumOfHalf() + "\n    minutes: 5\n"

func noise(n int) []byte {
	b := make([]byte, n)
	rand.New(rand.NewSource(int64(n))).Read(b)
	return b
}

// partitioned is a good card with a table whose one partition says this type.
func (s *stranger) partitioned(kind string) { s.within2("start=8192, type=" + kind + "\n") }

// within2 is a good file system at 4 MiB, with the table that the script says.
func (s *stranger) within2(script string) {
	s.table("label: dos\n" + script)
	s.within(3700, "-F", "32", "-s", "64")
	s.right()
}

// rename changes a short name, and the checksum of it in the long name's parts
// (FAT32 specification, "FAT Long Directory Entries").
func (s *stranger) rename(folder uint32, from, to string) {
	s.t.Helper()
	at := s.entry(folder, from)
	sum := byte(0)
	for _, b := range []byte(to) {
		sum = sum<<7 | sum>>1
		sum += b
	}
	s.patch(at, []byte(to)...)
	parts := 0
	for long := at - 32; s.bytes(long+11, 1)[0] == 0x0F; long -= 32 {
		s.patch(long+13, sum)
		parts++
		if s.bytes(long, 1)[0]&0x40 != 0 {
			break
		}
	}
	require.Positive(s.t, parts, "%s has no long name", from)
}
