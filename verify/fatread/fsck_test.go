package fatread

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// patch is one change to an image; undo is what stood there.
type patch struct {
	at         int64
	with, undo []byte
}

// onFile applies patches to an image file, and takes them back.
func onFile(t testing.TB, f *os.File, list []patch, while func()) {
	t.Helper()
	for i := range list {
		p := &list[i]
		p.undo = make([]byte, len(p.with))
		_, err := f.ReadAt(p.undo, p.at)
		require.NoError(t, err)
		_, err = f.WriteAt(p.with, p.at)
		require.NoError(t, err)
	}
	while()
	for i := len(list) - 1; i >= 0; i-- {
		_, err := f.WriteAt(list[i].undo, list[i].at)
		require.NoError(t, err)
	}
}

// bare makes the sample card without a table, so that fsck.fat can take it.
func bare(t testing.TB, bits string) (string, *disk) {
	t.Helper()
	size := map[string]int64{"12": 2 << 20, "16": 8 << 20, "32": 40 << 20}[bits]
	image := mkfs(t, size, "-F", bits, "-s", "1", "-n", "KITTIWAKE", "--invariant")
	fillCard(t, image, sampleTree(t))
	b, err := os.ReadFile(image)
	require.NoError(t, err)
	return image, newDisk(t, b, 0)
}

// damage draws a random change to what describes the files.
func damage(rng *rand.Rand, d *disk) []patch {
	described := d.b[d.start : d.data+64*d.cluster]
	whole := bytes.Clone(described)
	for range 1 + rng.Intn(2) {
		switch rng.Intn(6) {
		case 0: // the boot sector's fields
			d.b[d.start+11+rng.Int63n(79)] = byte(rng.Intn(256))
		case 1: // one byte of a FAT in use
			d.b[d.fat+rng.Int63n(d.fats)*d.fatSize+rng.Int63n(48*d.bits/8)] = byte(rng.Intn(256))
		case 2: // a link, in both FATs
			d.links(uint32(rng.Intn(40)), link(rng, d))
		case 3, 4: // one byte of a folder's entries
			d.b[folderByte(rng, d)] ^= 1 << rng.Intn(8)
		case 5:
			d.b[folderByte(rng, d)] = byte(rng.Intn(256))
		}
	}
	var list []patch
	for i, b := range described {
		if b != whole[i] {
			list = append(list, patch{at: d.start + int64(i), with: []byte{b}})
		}
	}
	copy(described, whole)
	return list
}

// link draws one that leads somewhere: near, far, nowhere, to a mark.
func link(rng *rand.Rand, d *disk) uint32 {
	switch rng.Intn(8) {
	case 0:
		return 0
	case 1:
		return 1
	case 2:
		return d.bad()
	case 3:
		return d.end()
	case 4:
		return rng.Uint32() & d.end()
	default:
		return uint32(rng.Intn(64))
	}
}

// folderByte draws a byte of an entry in use.
func folderByte(rng *rand.Rand, d *disk) int64 {
	short := []string{alpha, beta, empty, gamma, long, sub, inner, other, "DELTA   BIN", "ZETA    BIN", "KITTIWAKE  "}
	at := int64(bytes.Index(d.b[d.root:], []byte(short[rng.Intn(len(short))])))
	if at < 0 { // damaged already
		return d.root
	}
	return d.root + at - 32*rng.Int63n(2) + rng.Int63n(32)
}

// phrases of fsck.fat 4.2, and the kinds that tell the same. One of them at least
// must be reported where it prints the phrase.
var phrases = map[string][]FaultKind{
	"differences between boot sector and its backup": {BootBackup, BootCode},
	"Dirty bit is set":                    {DirtyFlag},
	"FATs differ":                         {FATsDiffer},
	"Circular cluster chain":              {ChainLoop, ChainCross},
	"share clusters":                      {ChainCross, ChainLoop, DirectoryLoop},
	"Start cluster beyond limit":          {ChainRange, EntryAttributes, ChainCross},
	"Contains a free cluster":             {ChainFree, ChainRange, DirectoryNone, EntryAttributes, ChainCross},
	"Contains a bad cluster":              {ChainBad, ChainCross},
	"Wrong checksum for long file name":   {LongChecksum, LongOrder},
	"Bad short file name":                 {NameBad, EntryAttributes, ChainCross},
	"stored in boot sector and different": {LabelDiffers},
	"Duplicate directory entry":           {NameTwice, ChainCross},
	"Expected a valid '.' entry":          {DotEntry, ChainRange, ChainFree, ChainCross, DirectoryLoop, DirectoryNone},
	"Expected a valid '..' entry":         {DotEntry, ChainRange, ChainFree, ChainCross, DirectoryLoop, DirectoryNone},
}

// passed are the kinds that fsck.fat 4.2 lets pass without a word, and why
// this package reports them.
var passed = map[FaultKind]string{
	HiddenSectors:   "it sees the volume, not the partition",
	TableAmbiguous:  "it doesn't look for a table in a boot sector",
	BootField:       "it asks less of media, version and jump than the specification",
	FATMedia:        "it accepts FAT[0] with other bits, or another media byte",
	ErrorFlag:       "it doesn't look at the bit for read errors",
	EntryTime:       "it doesn't look at times",
	NameBad:         "it accepts lower case in short names, and any characters in long ones",
	NameTwice:       "it compares short names alone",
	DotEntry:        "it accepts a . or .. with a size",
	LabelExtra:      "it takes an entry with the label bit for a file or folder",
	EntryAttributes: "it accepts reserved bits",
	ClustersLost:    "those of an entry that became a volume label: it counts them as the label's",
	LongEntry:       "it doesn't look at the type, or past the end of the name",
	LongOrder:       "it accepts a part whose number has bits beyond the twentieth",
	LongOrphan:      "the same",
	PathLong:        "it knows no such bound",
}

// fsck.fat and this package agree on what is damaged, but for what is in
// the tables above: of some damages it says nothing. The other way round only one
// class is left: a volume so damaged that
// it can't be recognised is reported as such, and not read.
func TestAgreesWithFsck(t *testing.T) {
	for bits, damages := range map[string]int{"12": 1200, "16": 600, "32": 600} {
		t.Run(bits, func(t *testing.T) {
			image, d := bare(t, bits)
			f, err := os.OpenFile(image, os.O_RDWR, 0)
			require.NoError(t, err)
			defer f.Close()
			rng := rand.New(rand.NewSource(7))
			for i := range some(damages) {
				list := damage(rng, d)
				onFile(t, f, list, func() {
					name := fmt.Sprintf("damage %d: %v", i, list)
					compareWithFsck(t, name, image, Read(f, int64(len(d.b)), Limits{}), len(list) == 0 || list[0].at > 64)
				})
			}
		})
	}
}

// compareWithFsck asks for the same words only where the boot sector still
// says where things are: else both read rubbish, each in its own way.
func compareWithFsck(t *testing.T, name, image string, c *Card, words bool) {
	t.Helper()
	out, err := exec.Command(tool(t, "fsck.fat"), "-n", image).CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	// The first line is its version, the last its count of files.
	complains := err != nil || bytes.Count(out, []byte("\n")) > 2
	if !complains {
		for k := range c.Counts {
			assert.Containsf(t, passed, k, "%s\n%s%v", name, out, c.Faults)
		}
		return
	}
	if len(c.Volumes) == 0 {
		assert.Contains(t, []string{Unknown, DamagedFAT}, fileSystem(c), name)
		return
	}
	assert.NotEmptyf(t, c.Faults, "%s\n%s", name, out)
	// By the other FAT it finds other chains; a fault says that the two differ.
	words = words && !bytes.Contains(out, []byte("using second FAT"))
	for phrase, any := range phrases {
		if words && bytes.Contains(out, []byte(phrase)) {
			assert.Truef(t, tells(c, any), "%q: %s\n%s%v", phrase, name, out, c.Faults)
		}
	}
}

func fileSystem(c *Card) string {
	if len(c.Partitions) == 0 {
		return Unknown
	}
	return c.Partitions[0].FileSystem
}

func tells(c *Card, any []FaultKind) bool {
	for _, k := range any {
		if c.Counts[k] > 0 {
			return true
		}
	}
	return false
}
