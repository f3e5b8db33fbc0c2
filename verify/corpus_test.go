package verify_test

import (
	"bytes"
	"maps"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/drive"
	"cardwright/verify"
)

// handed is one card that a customer could hand over, and what must be reported.
type handed struct {
	size    int64 // 0: a nominal 4 GB card
	shop    map[string]string
	vessel  string // "-": none is named; "": Kittiwake
	make    func(s *stranger)
	verdict verify.Verdict
	kinds   []verify.Kind // all of these
	words   string        // in what was found, of the first of them
	says    string        // in what that means or what to do
	not     []verify.Kind // none of these
}

const (
	plot35 = "plot9-3.5.upd"
	plot40 = "plot9-4.0-7.upd"
	sweep  = "sweep2-1.8.img"
	beacon = "beacon1.upd"
)

var beaconAtPowerUp = changed("catalogue/solveld-beacon-1.yaml", "  folder: /\n", "  folder: /\n  at_power_up: true\n")

var plotAtPowerUp = changed("catalogue/fennick-plot-9.yaml", "  folder: any\n", "  folder: /\n  at_power_up: true\n")

var corpus = map[string]handed{
	// Anything can be put in.
	"a file system straight on the card": {make: (*stranger).good, verdict: verify.Good, kinds: []verify.Kind{verify.NoRecord}},
	"a partition in an MBR": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, type=c\n")
		s.within(3716, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Good, kinds: []verify.Kind{verify.NoRecord}},
	"a partition in a GPT": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:0", "-t", "1:0700", s.path)
		s.within(3715, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Unchecked, kinds: []verify.Kind{verify.UncommonLayout}, words: "a GPT", not: []verify.Kind{verify.MissingFile}},
	"several partitions": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=2097152, type=c\nstart=4194304, type=c\n")
		outside(s.t, "", "mkfs.fat", "-F", "32", "-h", "4194304", "--offset", "4194304", s.path, "1000000")
		s.within(1024, "-F", "32", "-s", "8")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "2 file systems"},
	"several partitions in a GPT, one of them ext4": {make: func(s *stranger) {
		outside(s.t, "", "sgdisk", "-n", "1:8192:+1G", "-t", "1:0700", "-n", "2:4194304:0", "-t", "2:8300", s.path)
		outside(s.t, "", "mkfs.ext4", "-q", "-E", "offset=2147483648", s.path, "1000000")
		s.within(1024, "-F", "32", "-s", "8")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}, words: "2 file systems"},
	"FAT12": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=16384, type=1\n")
		s.within(8, "-F", "12")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "FAT12", not: []verify.Kind{verify.MissingFile}},
	"FAT16": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=2097152, type=6\n")
		s.within(1024, "-F", "16")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "FAT16", not: []verify.Kind{verify.MissingFile}},
	"ext4": {
		make:    func(s *stranger) { outside(s.t, "", "mkfs.ext4", "-q", "-F", s.path) },
		verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "ext",
	},
	// Microsoft's NTFS boot sector: "NTFS" and four spaces at byte 3.
	"NTFS": {make: func(s *stranger) {
		s.patch(0, append([]byte("\xeb\x52\x90NTFS    "), 0, 2, 8)...)
		s.patch(510, 0x55, 0xAA)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "NTFS"},
	// Apple's TN1150: "H+" and version 4 at byte 1024.
	"HFS+":                 {make: func(s *stranger) { s.patch(1024, 'H', '+', 0, 4) }, verdict: verify.Bad, kinds: []verify.Kind{verify.OtherFileSystem}, words: "HFS+"},
	"blank":                {make: func(*stranger) {}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}},
	"a table, unformatted": {make: func(s *stranger) { s.table("label: dos\nstart=8192, type=c\n") }, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}},
	"encrypted-looking": {make: func(s *stranger) {
		noise := make([]byte, 8<<20)
		rand.New(rand.NewSource(1)).Read(noise)
		s.patch(0, noise...)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}},
	"larger than the devices use":      {size: 40_000_000_000 / 512 * 512, make: (*stranger).good, verdict: verify.Bad, kinds: []verify.Kind{verify.TooLarge}},
	"smaller than the devices use":     {size: 1 << 30, make: func(s *stranger) { s.bare("-F", "32", "-s", "8"); s.right() }, verdict: verify.Bad, kinds: []verify.Kind{verify.TooSmall}},
	"an image that was cut short":      {make: func(s *stranger) { s.good(); require.NoError(s.t, os.Truncate(s.path, 3<<30)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"an image cut within its boot":     {make: func(s *stranger) { s.good(); require.NoError(s.t, os.Truncate(s.path, 512)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.TooSmall}},
	"clusters of 4 KiB":                {make: func(s *stranger) { s.bare("-F", "32", "-s", "8"); s.right() }, verdict: verify.Good},
	"one FAT":                          {make: func(s *stranger) { s.bare("-F", "32", "-s", "64", "-f", "1"); s.right() }, verdict: verify.Unchecked, kinds: []verify.Kind{verify.UncommonLayout}, words: "1 FAT"},
	"many reserved sectors":            {make: func(s *stranger) { s.bare("-F", "32", "-s", "64", "-R", "900"); s.right() }, verdict: verify.Good},
	"the boot sector's copy at 12":     {make: func(s *stranger) { s.bare("-F", "32", "-s", "64", "-b", "12", "-R", "64"); s.right() }, verdict: verify.Good},
	"unaligned":                        {make: func(s *stranger) { s.bare("-F", "32", "-s", "64", "-a"); s.right() }, verdict: verify.Good},
	"sectors of 4 KiB":                 {make: func(s *stranger) { s.bare("-F", "32", "-S", "4096", "-s", "8"); s.right() }, verdict: verify.Unchecked, kinds: []verify.Kind{verify.UncommonLayout}, words: "4096"},
	"a file system with its own table": {make: func(s *stranger) { s.bare("-F", "32", "-s", "64", "--mbr=yes"); s.right() }, verdict: verify.Good},

	// Structure.
	"the FATs differ":     {make: func(s *stranger) { s.good(); p := s.places(); s.patch(p.fat+p.fatBytes+4*s.first(beacon), 9) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"the backup differs":  {make: func(s *stranger) { s.good(); s.patch(6*512+13, 1) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"no boot sector":      {make: func(s *stranger) { s.good(); s.patch(0, make([]byte, 512)...) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}},
	"a loop":              {make: func(s *stranger) { s.chained(func(c []uint32) { s.link(c[2], c[0]) }) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a cross-link":        {make: func(s *stranger) { s.chained(func(c []uint32) { s.link(c[1], s.clusters(sweepAt)[0]) }) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a link out of range": {make: func(s *stranger) { s.chained(func(c []uint32) { s.link(c[1], 0x0ABCDEF0) }) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a chain too short":   {make: func(s *stranger) { s.chained(func(c []uint32) { s.link(c[1], 0x0FFFFFFF) }) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a chain too long": {make: func(s *stranger) {
		s.chained(func(c []uint32) { s.link(c[len(c)-1], 200000); s.link(200000, 0x0FFFFFFF) })
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a chain into a bad cluster":     {make: func(s *stranger) { s.chained(func(c []uint32) { s.link(c[1], 0x0FFFFFF7) }) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"lost clusters":                  {make: func(s *stranger) { s.good(); s.link(5000, 5001); s.link(5001, 0x0FFFFFFF) }, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}, words: "2, the first of them 5000"},
	"a wrong count of free clusters": {make: func(s *stranger) { s.good(); s.patch(512+488, 1, 2, 0, 0) }, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}},
	"not taken out cleanly":          {make: func(s *stranger) { s.good(); s.link(1, 0x07FFFFFF) }, verdict: verify.Good, kinds: []verify.Kind{verify.MinorDamage}},
	"a folder that holds itself": {make: func(s *stranger) {
		s.good()
		s.folders("A/B")
		b := s.clusters("A")[0]
		at := s.entry(b, "B          ")
		s.patch(at+26, byte(b), byte(b>>8))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a .. that leads elsewhere": {make: func(s *stranger) {
		s.good()
		at := s.entry(s.clusters("01-helm")[0], "..         ")
		s.patch(at+26, 77)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a long name with another's checksum": {make: func(s *stranger) {
		s.good()
		at := s.entry(s.clusters("01-helm/4.0-7")[0], "PLOT9-~1UPD")
		s.patch(at-32+13, s.bytes(at-32+13, 1)[0]^1)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a bad name": {make: func(s *stranger) { s.good(); s.patch(s.entry(2, "BEACON1 UPD"), '*') }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure, verify.MissingFile}},
	"two names that differ in nothing": {make: func(s *stranger) {
		s.good()
		s.put("beacon2.upd", s.pkg(beacon))
		s.patch(s.entry(2, "BEACON2 UPD")+6, '1')
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"larger than its partition": {make: func(s *stranger) {
		s.table("label: dos\nstart=8192, size=4194304, type=c\n")
		s.within(3000, "-F", "32", "-s", "64")
		s.right()
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure}},
	"a size over its chain": {make: func(s *stranger) { s.good(); s.patch(s.entry(2, "BEACON1 UPD")+28, 0, 0, 0, 0xF0) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Structure, verify.SizeDiffers}},

	// Contents, by digest and not by name.
	"empty":                   {make: (*stranger).fat32, verdict: verify.Bad, kinds: []verify.Kind{verify.MissingFile}},
	"one step's file missing": {make: func(s *stranger) { s.fat32(); s.right(sweep) }, verdict: verify.Bad, kinds: []verify.Kind{verify.MissingFile}, words: "no such file"},
	"an older release": {
		shop: changed("vessels/kittiwake.yaml", "version: 3.1", "version: 4.0-7", "version: 1.6", "version: 1.8"),
		make: func(s *stranger) { s.good(); s.put("old/"+plot35, s.pkg(plot35)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.OlderRelease}, words: "3.5",
	},
	"a newer release than planned": {
		shop: changed("vessels/kittiwake.yaml", "    version: 3.1\n", "    version: 3.1\n    hold: \"= 3.5\"\n    hold_why: a chart that only 3.5 shows\n"),
		make: func(s *stranger) { s.good(); s.put("new/"+plot40, s.pkg(plot40)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NewerRelease}, words: "4.0-7",
	},
	"a withdrawn release": {
		shop: changed("catalogue/solveld-beacon-1.yaml", "    minutes: 5\n", "    minutes: 5\n    withdrawn: loses its own number\n"),
		make: func(s *stranger) { s.good(); s.put(beacon, s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.WithdrawnRelease}, words: "1.6",
	},
	"for a model that isn't aboard": {
		vessel: "skerry-light", shop: changed("vessels/skerry-light.yaml", "version: 1.6", "version: 1.5"),
		make: func(s *stranger) { s.good(); s.put(plot40, s.pkg(plot40)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NotAboard}, words: "4.0-7",
	},
	"a card for a vessel that needs none": {vessel: "skerry-light", make: func(s *stranger) { s.fat32(); s.put(beacon, s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NothingNeeded}},
	"a release twice":                     {make: func(s *stranger) { s.good(); s.put("copy/"+plot40, s.pkg(plot40)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.NotNeeded}},
	"something unknown":                   {make: func(s *stranger) { s.good(); s.put("holiday.gpx", []byte("<gpx/>")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFile}},
	"cut short in its place":              {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon, s.pkg(beacon)[:1000]) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated}, words: "stops at byte 1000, 3,096 bytes"},
	"cut short elsewhere":                 {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put("x/"+beacon, s.pkg(beacon)[:1000]) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated, verify.MissingFile}, words: "stops at byte 1000"},
	"cut short to nothing":                {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon, nil) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated}, words: "stops at byte 0"},
	"altered in its place":                {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon, flipped(s.pkg(beacon), 777)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ContentDiffers}, words: "first different at byte 777"},
	"altered elsewhere":                   {make: func(s *stranger) { s.good(); s.put("x/"+beacon, flipped(s.pkg(beacon), 0)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ContentDiffers}, words: "first different at byte 0"},
	"too long":                            {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon, append(s.pkg(beacon), 0)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.SizeDiffers}},
	"another's content":                   {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon, s.pkg(sweep)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.SizeDiffers}, words: "sweep2-1.8.img of fennick-sweep-2 1.8"},
	"renamed by a browser":                {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put("beacon1 (1).upd", s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.RenamedFile, verify.MissingFile}},
	"whole, but .part":                    {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon+".part", s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.RenamedFile}},
	"whole, but .crdownload":              {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon+".crdownload", s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.RenamedFile}},
	"a beginning, .download":              {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put(beacon+".download", s.pkg(beacon)[:4000]) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Truncated}, words: "stops at byte 4000"},
	"unknown, .crdownload":                {make: func(s *stranger) { s.good(); s.put("Unconfirmed 1.crdownload", []byte("??")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.PartialDownload}},
	"still zipped": {make: func(s *stranger) {
		s.fat32()
		s.right(beacon)
		s.put("beacon.zip", s.zip(map[string][]byte{beacon: s.pkg(beacon)}))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped, verify.MissingFile}, words: "beacon1.upd of solveld-beacon-1 1.6"},
	"a zip of something else": {make: func(s *stranger) { s.good(); s.put("x.zip", s.zip(map[string][]byte{"notes": []byte("hello")})) }, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped}, words: "an archive"},
	"a damaged zip":           {make: func(s *stranger) { s.good(); s.put("x.zip", []byte("PK\x03\x04 and no more")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.StillZipped}, words: "damaged"},
	"in the wrong folder":     {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put("updates/"+beacon, s.pkg(beacon)) }, verdict: verify.Bad, kinds: []verify.Kind{verify.WrongFolder, verify.MissingFile}},
	"in a folder of another name, chosen on the screen": {make: func(s *stranger) {
		s.fat32()
		s.right(plot40)
		s.put("Plotter update/"+plot40, s.pkg(plot40))
	}, verdict: verify.Good, kinds: []verify.Kind{verify.MovedFolder}, words: "/Plotter update"},
	"in other letter case": {make: func(s *stranger) { s.fat32(); s.right(beacon); s.put("Beacon1.UPD", s.pkg(beacon)) }, verdict: verify.Good, kinds: []verify.Kind{verify.NameCase}},

	// What else is there.
	"clutter": {make: func(s *stranger) {
		s.good()
		s.put("System Volume Information/IndexerVolumeGuid", []byte("x"))
		s.put(".DS_Store", []byte("x"))
		s.put("01-helm/._"+plot40, appleDouble)
		s.put("LOST.DIR/x", []byte("x"))
	}, verdict: verify.Good, kinds: []verify.Kind{verify.Clutter}},
	"clutter beside a package that installs at power-up": {shop: beaconAtPowerUp, make: func(s *stranger) { s.good(); s.put("._"+beacon, appleDouble) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Clutter}},
	"autorun":   {make: func(s *stranger) { s.good(); s.put("AUTORUN.INF", []byte("[autorun]\nopen=x.exe\n")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Autorun}},
	"a program": {make: func(s *stranger) { s.good(); s.put("Install me.exe", []byte("MZ")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Executable}},
	"a script":  {make: func(s *stranger) { s.good(); s.put("go.sh", []byte("#!/bin/sh\n")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.Executable}},
	"a hidden file": {make: func(s *stranger) {
		s.good()
		s.put("notes.txt", []byte("x"))
		s.mtool("", "mattrib", "+h", "::notes.txt")
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.HiddenFile}},
	"a hidden folder":               {make: func(s *stranger) { s.good(); s.put(".x/notes.txt", []byte("x")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFile}},
	"an empty folder":               {make: func(s *stranger) { s.good(); s.folders("Waypoints") }, verdict: verify.Bad, kinds: []verify.Kind{verify.ExtraFolder}},
	"a name that turns text round":  {make: func(s *stranger) { s.good(); s.put("beacon\u202edpu.exe", []byte("MZ")) }, verdict: verify.Bad, kinds: []verify.Kind{verify.HostileName, verify.Executable}, words: `beacon‹U+202E›dpu.exe`},
	"a name of 255 direction marks": {make: func(s *stranger) { s.good(); s.directionMarks() }, verdict: verify.Bad, kinds: []verify.Kind{verify.HostileName}},
	"a name with a control character": {make: func(s *stranger) {
		s.good()
		s.put("A long name.txt", []byte("x"))
		at := s.entry(2, "ALONGN~1TXT") - 32
		require.EqualValues(s.t, 'A', s.bytes(at+1, 1)[0]&^0x20, "the first long-name entry")
		s.patch(at+1, 0x1B)
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.HostileName}},

	// Is it this boat's?
	"would be taken at power-up": {shop: beaconAtPowerUp, make: (*stranger).good, verdict: verify.Good, kinds: []verify.Kind{verify.WouldTake}, words: "would install 1.6"},
	"two releases for one that installs at power-up": {shop: plotAtPowerUp, make: func(s *stranger) {
		s.fat32()
		s.put(plot35, s.pkg(plot35))
		s.put(plot40, s.pkg(plot40))
	}, verdict: verify.Bad, kinds: []verify.Kind{verify.TwoPackages}, words: "3.5, 4.0-7"},
	"no vessel named":                        {vessel: "-", make: func(s *stranger) { s.fat32(); s.put(beacon, s.pkg(beacon)) }, verdict: verify.Unchecked, kinds: []verify.Kind{verify.FitsVessel, verify.KnownRelease, verify.NothingExpected}, words: "1 of the 4 steps of Kittiwake"},
	"no vessel named, and another's content": {vessel: "-", make: func(s *stranger) { s.fat32(); s.put(beacon, flipped(s.pkg(beacon), 5)) }, verdict: verify.Unchecked, kinds: []verify.Kind{verify.ContentDiffers, verify.NothingExpected}, words: "first different at byte 5"},
	"no vessel named, blank":                 {vessel: "-", make: func(*stranger) {}, verdict: verify.Bad, kinds: []verify.Kind{verify.NoFileSystem}},
}

// sweepFolder is where the radar's step has its file.
const (
	sweepFolder = "02-radar"
	sweepAt     = sweepFolder + "/" + sweep
)

// directionMarks makes a file whose name is 255 marks that turn text round.
func (s *stranger) directionMarks() {
	s.put(strings.Repeat("x", 255), []byte("x"))
	short := s.entry(2, "XXXXXX~1   ")
	for part := int64(1); part <= 20; part++ { // of 13 units each; 8 in the last
		at := short - part*32
		for unit, place := range []int64{1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30} {
			if part < 20 || unit < 8 {
				s.patch(at+place, 0x2E, 0x20)
			}
		}
	}
}

// appleDouble begins what one desktop system keeps next to files (RFC 1740,
// appendix A: magic number, version 2).
var appleDouble = []byte("\x00\x05\x16\x07\x00\x02\x00\x00")

// first is the first cluster of a file.
func (s *stranger) first(name string) int64 { return int64(s.clusters(name)[0]) }

// chained is a card with small clusters, whose longest chain is then damaged.
func (s *stranger) chained(damage func(clusters []uint32)) {
	s.bare("-F", "32", "-s", "8")
	s.right()
	damage(s.clusters("01-helm/4.0-7/" + plot40))
}

func flipped(b []byte, at int) []byte {
	b = bytes.Clone(b)
	b[at] ^= 0x10
	return b
}

// zip packs with the zip command.
func (s *stranger) zip(files map[string][]byte) []byte {
	dir := s.t.(*testing.T).TempDir()
	args := []string{"-q", "-j", filepath.Join(dir, "out.zip")}
	for name, content := range files {
		p := filepath.Join(dir, name)
		require.NoError(s.t, os.WriteFile(p, content, 0o600))
		args = append(args, p)
	}
	outside(s.t, "", "zip", args...)
	packed, err := os.ReadFile(args[2])
	require.NoError(s.t, err)
	return packed
}

// Every card of the corpus gets its verdict and its findings, each with what
// to do where it stops, and is left as it was.
func TestCorpus(t *testing.T) {
	all := map[string]handed{}
	for _, some := range []map[string]handed{corpus, corpusExFAT, corpusTraps, corpusFound} {
		maps.Copy(all, some)
	}
	require.Len(t, all, len(corpus)+len(corpusExFAT)+len(corpusTraps)+len(corpusFound), "a name twice")
	for name, c := range all {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			vessel := map[string]string{"": "kittiwake", "-": ""}[c.vessel]
			if c.vessel == "skerry-light" {
				vessel = c.vessel
			}
			size := c.size
			if size == 0 {
				size = corpusCard
			}
			s := newStranger(t, corpusShopWith(t, c.shop), vessel, size)
			c.make(s)
			r := judgeStranger(t, s, vessel)
			require.Equal(t, c.verdict, r.Verdict, told(r))
			s.sameByCommand(t, vessel, c.shop, r)
			for i, kind := range c.kinds {
				all := found(r, kind)
				require.NotEmpty(t, all, "%s: %s", kind, told(r))
				if i == 0 {
					assert.Condition(t, func() bool { return anyFound(all, c.words) }, "%q: %s", c.words, told(r))
					assert.Contains(t, all[0].Meaning+" "+all[0].Advice, c.says)
				}
				for _, f := range all {
					assert.NotEmpty(t, f.Meaning, "%+v", f)
					if f.Severity == verify.Stop {
						assert.NotEmpty(t, f.Advice, "%+v", f)
					}
				}
			}
			for _, f := range r.Findings {
				assert.NotRegexp(t, `%[!a-z]|\{[a-z]+\}`, f.Meaning+f.Advice, "a blank that wasn't filled in")
			}
			for _, kind := range c.not {
				assert.Empty(t, found(r, kind), told(r))
			}
		})
	}
}

func anyFound(all []verify.Finding, words string) bool {
	for _, f := range all {
		if strings.Contains(f.Found, words) {
			return true
		}
	}
	return false
}

// What a card can bring where, step by step, and which file of which step is
// missing.
func TestCorpusBrings(t *testing.T) {
	s := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
	s.fat32()
	s.right(sweep)
	r := judgeStranger(t, s, "kittiwake")
	require.Len(t, r.Brings, 4)
	for _, b := range r.Brings {
		assert.Equal(t, b.Device != "radar", b.Whole, "%+v", b)
		if b.Device == "radar" {
			assert.Equal(t, []string{sweepAt}, b.Missing)
		}
	}
}

// A drive is judged like an image of it. Loop drives stand for cards in readers.
func TestCorpusDrive(t *testing.T) {
	s := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
	s.good()
	name := strings.TrimSpace(outside(t, "", "losetup", "-f", "--show", "-r", s.path))
	t.Cleanup(func() { outside(t, "", "losetup", "-d", name) })
	d, err := drive.OpenDrive(name, false)
	require.NoError(t, err)
	defer d.Close()
	e := asked(t, s.shop, "kittiwake", d.Bytes(), verify.List(d, d.Bytes()))
	r := verify.Card(t.Context(), d, d.Bytes(), e, nil)
	assert.Equal(t, verify.Good, r.Verdict, told(r))
}

// A mounted folder's files are judged, and it is said that its file system wasn't.
func TestCorpusFolder(t *testing.T) {
	shop := corpusShopWith(t, nil)
	s := newStranger(t, shop, "kittiwake", corpusCard)
	dir := t.TempDir()
	for _, f := range s.files {
		p := filepath.Join(dir, filepath.FromSlash(f.Path))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o700))
		require.NoError(t, os.WriteFile(p, s.pkg(filepath.Base(p)), 0o600))
	}
	e := asked(t, shop, "kittiwake", 0, verify.ListFolder(dir))
	r := verify.Folder(t.Context(), dir, e, nil)
	assert.NotEqual(t, verify.Bad, r.Verdict, told(r))
	assert.Equal(t, len(found(r, verify.NotFromMedium)) == 0, r.Verdict == verify.Good, told(r))
	assert.Len(t, found(r, verify.FolderOnly), 1)
	require.NoError(t, os.Symlink("/etc/hostname", filepath.Join(dir, "link")))
	r = verify.Folder(t.Context(), dir, e, nil)
	assert.Equal(t, verify.Bad, r.Verdict, "a link is reported and not followed")
	assert.Len(t, found(r, verify.ExtraFile), 1)
}
