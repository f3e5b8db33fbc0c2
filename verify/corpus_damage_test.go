package verify_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/verify"
)

// overlay is a card with some bytes changed, in memory; the image stays as it
// is. It counts what is asked of it.
type overlay struct {
	io.ReaderAt
	patches []overlaid
	asked   int64
	fails   int64 // reads of this byte fail; -1: none
	failed  int
}

type overlaid struct {
	at   int64
	with []byte
}

func (o *overlay) ReadAt(p []byte, off int64) (int, error) {
	o.asked += int64(len(p))
	if o.fails >= off && o.fails < off+int64(len(p)) {
		o.failed++
		return 0, errBroken
	}
	n, err := o.ReaderAt.ReadAt(p, off)
	for _, c := range o.patches {
		for i, b := range c.with {
			if at := c.at + int64(i) - off; at >= 0 && at < int64(n) {
				p[at] = b
			}
		}
	}
	return n, err
}

// victim is the one card that is damaged, with what of it must not differ.
type victim struct {
	*stranger
	image    []byte // its first bytes, up to the end of all that is in use
	size     int64
	expected *verify.Expected
	places   fatPlaces
	vital    map[int64]byte // place → the bits of that byte that a wanted file or its chain depends on
	payload  []int64        // bytes of wanted files
	entries  []int64        // bytes of directory entries in use
	inUse    int64
}

// newVictim has the smallest clusters that there are, so that chains are long
// and lie close together.
func newVictim(t testing.TB) *victim {
	const size = 36 << 20
	v := &victim{stranger: newStranger(t, corpusShopWith(t, nil), "kittiwake", size), size: size, vital: map[int64]byte{}}
	v.bare("-F", "32", "-s", "1", "-n", "STRANGER")
	v.right()
	v.places = v.stranger.places()
	e := asked(t, v.shop, "kittiwake", corpusCard, verify.Listing{})
	e.Limits = media.Limits{} // the card is smaller than any that is sold
	v.expected = e
	v.image = v.bytes(0, int(v.places.of(400)))
	v.find()
	return v
}

// find asks mtools where the wanted files are.
func (v *victim) find() {
	p := v.places
	v.inUse = p.data
	for _, f := range v.files {
		clusters := v.clusters(f.Path)
		v.inUse += int64(len(clusters)) * p.cluster
		for i, c := range clusters {
			for b := range min(p.cluster, f.Size-int64(i)*p.cluster) {
				v.vital[p.of(c)+b] = 0xFF
				v.payload = append(v.payload, p.of(c)+b)
			}
			for fat := range int64(2) {
				at := p.fat + fat*p.fatBytes + int64(c)*4
				for b, bits := range []byte{0xFF, 0xFF, 0xFF, 0x0F} { // the specification reserves the upper four
					v.vital[at+int64(b)] = bits
				}
			}
		}
	}
	for _, folder := range []string{"", "01-helm", "01-helm/3.5", "01-helm/4.0-7", sweepFolder} {
		c := uint32(2)
		if folder != "" {
			c = v.clusters(folder)[0]
		}
		v.inUse += p.cluster
		v.folder(p.of(c))
	}
}

// folder notes the entries in use in one cluster of a folder: of short names
// the name, the first cluster and the size are vital.
func (v *victim) folder(at int64) {
	for e := at; e < at+v.places.cluster && v.image[e] != 0; e += 32 {
		for i := range int64(32) {
			v.entries = append(v.entries, e+i)
		}
		if v.image[e] == 0xE5 || v.image[e+11]&0x0F == 0x0F || v.image[e+11]&0x08 != 0 || v.image[e] == '.' {
			continue
		}
		fields := [][2]int64{{0, 11}, {20, 22}, {26, 32}}
		if v.image[e+11]&0x10 != 0 { // a folder's name is chosen on the screen: another is reported, and does no harm
			fields = fields[1:]
		}
		for _, field := range fields {
			for i := field[0]; i < field[1]; i++ {
				v.vital[e+i] = 0xFF
			}
		}
		if v.image[e+20]|v.image[e+21] == 0 { // the upper four bits of a cluster's number are reserved
			v.vital[e+21] = 0x0F
		}
	}
}

// damage draws one to three changes.
func (v *victim) damage(rng *rand.Rand) (all []overlaid) {
	p := v.places
	for range 1 + rng.Intn(3) {
		var at int64
		with := []byte{byte(rng.Intn(256))}
		switch rng.Intn(10) {
		case 0: // the boot sector, FSInfo, or their copies
			at = []int64{0, 512, 6 * 512, 7 * 512}[rng.Intn(4)] + rng.Int63n(512)
		case 1, 2: // one FAT
			at = p.fat + rng.Int63n(2)*p.fatBytes + rng.Int63n(160*4)
		case 3, 4: // a link, in both FATs
			c := rng.Int63n(160)
			link := v.drawLink(rng)
			all = append(all, overlaid{p.fat + c*4, link})
			at, with = p.fat+p.fatBytes+c*4, link
		case 5, 6: // an entry
			at = v.entries[rng.Intn(len(v.entries))]
			if rng.Intn(2) == 0 {
				with[0] = v.image[at] ^ 1<<rng.Intn(8)
			}
		case 7, 8: // payload
			at = v.payload[rng.Intn(len(v.payload))]
		default: // a sector lost to zeros or noise
			at = rng.Int63n(p.of(200)/512) * 512
			with = make([]byte, 512)
			if rng.Intn(2) == 0 {
				rng.Read(with)
			}
		}
		all = append(all, overlaid{at, with})
	}
	return all
}

func (v *victim) drawLink(rng *rand.Rand) []byte {
	to := []uint32{0, 1, 0x0FFFFFF7, 0x0FFFFFFF, rng.Uint32(), uint32(rng.Intn(160)), uint32(rng.Intn(160)), uint32(rng.Intn(80000))}[rng.Intn(8)]
	return binary.LittleEndian.AppendUint32(nil, to)
}

// touches reports whether a wanted file's byte or link differs after all changes.
func (v *victim) touches(all []overlaid) bool {
	now := map[int64]byte{}
	for _, c := range all {
		for i, b := range c.with {
			now[c.at+int64(i)] = b
		}
	}
	for at, b := range now {
		if (b^v.image[at])&v.vital[at] != 0 {
			return true
		}
	}
	return false
}

func (v *victim) judge(o *overlay) verify.Report {
	return verify.Card(context.Background(), o, v.size, v.expected, nil)
}

// Reading takes at most this many times what is in use on the undamaged card.
// Most of it is for damages that make more look in use than is: another size of
// clusters, or of a file whose chain was led into the free ones.
const mostReads = 24

// Random damages of one card: no panic, bounded reads, never good where
// a byte of a wanted file or of its chain differs; and where the verdict is
// good, mtools takes every wanted file off the card, bit for bit.
func TestCorpusRandomDamage(t *testing.T) {
	const shards = 2
	damages := drillCards(t, 600) / shards
	v := newVictim(t)
	whole := bytes.NewReader(readAll(t, v.path))
	pristine := v.judge(&overlay{ReaderAt: whole, fails: -1})
	require.Equal(t, verify.Good, pristine.Verdict, told(pristine))
	for shard := range shards {
		t.Run(fmt.Sprint(shard), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewSource(int64(1 + shard)))
			goods, vital, most := 0, 0, int64(0)
			for i := range damages {
				all := v.damage(rng)
				o := &overlay{ReaderAt: whole, patches: all, fails: -1}
				r := v.judge(o)
				most = max(most, o.asked)
				require.LessOrEqual(t, o.asked, mostReads*v.inUse, "damage %d: %v", i, all)
				require.EqualValues(t, o.asked, r.Counts.BytesRead, "damage %d", i)
				require.Contains(t, []verify.Verdict{verify.Good, verify.Bad, verify.Unchecked}, r.Verdict)
				touched := v.touches(all)
				if touched {
					vital++
				}
				if r.Verdict != verify.Good {
					continue
				}
				require.False(t, touched, "damage %d is called good: %v\n%s", i, all, told(r))
				if len(found(r, verify.MovedFolder)) > 0 { // mtools doesn't find it by its old name
					continue
				}
				if goods++; goods <= 40 {
					v.stillThere(t, all)
				}
			}
			t.Logf("%d good, %d touched what is vital; most read: %d bytes of a card of %d, %d in use", goods, vital, most, v.size, v.inUse)
			assert.Positive(t, goods)
			assert.Greater(t, vital, damages/2)
		})
	}
}

// Judging allocates at most this many times what is in use on the undamaged
// card, in all; most of it is what a reader and a hasher hand to one another,
// whatever the card.
const mostAllocated = 24

// What is allocated stays bounded whatever the damage.
func TestCorpusDamageAllocates(t *testing.T) {
	v := newVictim(t)
	whole := bytes.NewReader(readAll(t, v.path))
	rng, most := rand.New(rand.NewSource(7)), uint64(0)
	for i := range drillCards(t, 100) {
		all := v.damage(rng)
		o := &overlay{ReaderAt: whole, patches: all, fails: -1}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		v.judge(o)
		runtime.ReadMemStats(&after)
		most = max(most, after.TotalAlloc-before.TotalAlloc)
		require.LessOrEqual(t, after.TotalAlloc-before.TotalAlloc, uint64(mostAllocated*v.inUse), "damage %d: %v", i, all)
	}
	t.Logf("most allocated: %d bytes, %d in use", most, v.inUse)
}

func readAll(t testing.TB, name string) []byte {
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	return b
}

// patched is a copy of the image with the changes, for tools that need a file.
func (v *victim) patched(t testing.TB, all []overlaid, while func(s *stranger)) {
	copied := &stranger{t: t, path: v.path + strings.ReplaceAll(t.Name(), "/", "-"), shop: v.shop, files: v.files}
	if _, err := os.Stat(copied.path); err != nil {
		require.NoError(t, os.WriteFile(copied.path, readAll(t, v.path), 0o600))
	}
	for _, c := range all {
		copied.patch(c.at, c.with...)
	}
	while(copied)
	for _, c := range all {
		copied.patch(c.at, v.image[c.at:c.at+int64(len(c.with))]...)
	}
}

func (v *victim) stillThere(t testing.TB, all []overlaid) {
	v.patched(t, all, func(s *stranger) { v.mustHold(t, s, all) })
}

// mustHold has mtools take every wanted file off a card.
func (v *victim) mustHold(t testing.TB, s *stranger, all []overlaid) {
	for _, f := range v.files {
		cmd := exec.Command(outsideTool(t, "mtype"), "-i", s.path, "::"+f.Path)
		cmd.Env = append(os.Environ(), "MTOOLSRC=/dev/null", "MTOOLS_SKIP_CHECK=1", "LC_ALL=C.UTF-8")
		out, err := cmd.Output()
		require.NoError(t, err, "%v", all)
		name := f.Path[strings.LastIndexByte(f.Path, '/')+1:]
		require.True(t, bytes.Equal(v.pkg(name), out), "%s: %v", f.Path, all)
	}
}

// toldOnlyHere are kinds of faults that fsck.fat 4.2 lets pass without a word.
var toldOnlyHere = map[string]string{
	"boot-field":       "it asks less of media, version and jump than the specification",
	"boot-signature":   "it doesn't look at the signature of the boot sector",
	"boot-backup":      "it compares fewer bytes of the copies",
	"table-ambiguous":  "it doesn't look for a partition table in a boot sector",
	"table-signature":  "the same",
	"hidden-sectors":   "it sees the file system, not the partition",
	"info-next":        "it doesn't look at the hint where to write next",
	"info-signature":   "it looks at fewer of FSInfo's signatures",
	"fat-media":        "it accepts FAT[0] with other bits, or another media byte",
	"error-flag":       "it doesn't look at the bit for read errors",
	"entry-time":       "it doesn't look at times",
	"name-bad":         "it accepts lower case in short names, and any characters in long ones",
	"name-twice":       "it compares short names alone",
	"dot-entry":        "it accepts . or .. with a size",
	"label-extra":      "it takes an entry with the label bit for a file or folder",
	"entry-attributes": "it accepts reserved bits",
	"clusters-lost":    "those of an entry that became a volume label: it counts them as the label's",
	"entry-behind":     "it goes on behind a folder's end mark, and takes what stands there for files",
	"long-entry":       "it doesn't look at the type, or past the end of the name",
	"long-order":       "it accepts a part whose number has bits beyond the twentieth",
	"long-orphan":      "the same",
	"directory-size":   "it accepts a folder with a size",
}

// toldOnlyByFsck are its phrases on cards of which nothing of structure is
// told here.
var toldOnlyByFsck = map[string]string{}

var faultKind = regexp.MustCompile(`\(([a-z-]+)\)`)

// harmless are the phrases of fsck.fat about book-keeping that no file depends
// on, with which a card may be good: free and lost clusters, also where the lost
// ones lead out of range, the label, the mark of a card taken out too soon, and
// boot sectors that differ ("mostly harmless", it says) where that is reported as
// boot code.
var harmless = regexp.MustCompile(`^(Leaving filesystem unchanged` +
	`|Reclaimed \d+ unused clusters? |Free cluster summary wrong |Cluster \d+ out of range ` +
	`|Volume label '.*' stored in root directory (and label '.*' stored in boot sector and different|is not valid)` +
	`|Dirty bit is set)`)

var bootCodeDiffers = regexp.MustCompile(`^(There are differences between boot sector and its backup|This is mostly harmless)`)

// Random damages judged by fsck.fat and by mtools too. fsck.fat agrees on the
// structure, but for the classes in the tables above; where it complains of more
// than book-keeping, or mtools doesn't take every wanted file off the card bit
// for bit, the card is never called good.
func TestCorpusAgreesWithFsck(t *testing.T) {
	const shards = 2
	damages := drillCards(t, 300)
	v := newVictim(t)
	for shard := range shards {
		t.Run(fmt.Sprint(shard), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewSource(int64(11 + shard)))
			n := agreement{classes: map[string]int{}}
			for range damages / shards {
				all := v.damage(rng)
				v.patched(t, all, func(s *stranger) { n.add(t, v, s, all) })
			}
			t.Logf("%d agree, %d good, of them %d with a word of fsck.fat; classes of disagreement: %v", n.agree, n.good, n.goodButTold, n.classes)
			assert.Greater(t, n.agree, damages/shards*9/10)
			assert.Greater(t, n.good, damages/shards/50)
		})
	}
}

// agreement counts what outside tools and the verdict have said.
type agreement struct {
	agree, good, goodButTold int
	classes                  map[string]int
}

func (n *agreement) add(t *testing.T, v *victim, s *stranger, all []overlaid) {
	f, err := os.Open(s.path)
	require.NoError(t, err)
	defer f.Close()
	r := v.judge(&overlay{ReaderAt: f, fails: -1})
	kinds, blind := structureOf(r)
	out, err := exec.Command(outsideTool(t, "fsck.fat"), "-n", s.path).CombinedOutput()
	var exit *exec.ExitError
	require.True(t, err == nil || errors.As(err, &exit), "%v", err)
	complains := err != nil || bytes.Count(out, []byte("\n")) > 2 // its version, and its count of files
	switch {
	case complains == (len(kinds) > 0 || blind):
		n.agree++
	case complains:
		phrase := strings.Split(string(out), "\n")[1]
		n.classes["fsck.fat: "+phrase]++
		assert.Contains(t, toldOnlyByFsck, phrase, "%v\n%s%s", all, out, told(r))
	default:
		for _, k := range kinds {
			n.classes["here: "+k]++
			assert.Contains(t, toldOnlyHere, k, "%v\n%s%s", all, out, told(r))
		}
	}
	if r.Verdict != verify.Good {
		return
	}
	n.good++
	if complains {
		n.goodButTold++
		for _, phrase := range complaints(out) {
			if bootCodeDiffers.MatchString(phrase) && slices.Contains(kinds, "boot-code") {
				continue
			}
			require.Regexp(t, harmless, phrase, "%v\n%s%s", all, out, told(r))
		}
	}
	if len(found(r, verify.MovedFolder)) == 0 { // else mtools doesn't find it by its old name
		v.mustHold(t, s, all)
	}
}

// complaints are the lines of fsck.fat between its version and its count of
// files that begin a complaint.
func complaints(out []byte) (all []string) {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	for _, line := range lines[1 : len(lines)-1] {
		if line != "" && !strings.HasPrefix(line, " ") {
			all = append(all, line)
		}
	}
	return all
}

// structureOf are the kinds of faults that a report tells, and whether no file
// system could be made out.
func structureOf(r verify.Report) (kinds []string, blind bool) {
	for _, f := range slices.Concat(found(r, verify.Structure), found(r, verify.MinorDamage)) {
		if m := faultKind.FindStringSubmatch(f.Meaning); m != nil {
			kinds = append(kinds, m[1])
		} else {
			blind = true
		}
	}
	return kinds, blind || len(found(r, verify.NoFileSystem))+len(found(r, verify.OtherFileSystem)) > 0
}

// Every sector that matters fails once: the card is unchecked, and the place is reported.
func TestCorpusFailingReads(t *testing.T) {
	v := newVictim(t)
	whole := bytes.NewReader(readAll(t, v.path))
	sectors := map[int64]bool{0: true, 1: true, 6: true} // boot sector, FSInfo, the boot sector's copy
	for at := range v.vital {
		sectors[at/512] = true
	}
	for _, at := range v.entries {
		sectors[at/512] = true
	}
	for sector := range sectors {
		o := &overlay{ReaderAt: whole, fails: sector*512 + 100}
		r := v.judge(o)
		require.Positive(t, o.failed, "sector %d", sector)
		require.Equal(t, verify.Unchecked, r.Verdict, "sector %d: %s", sector, told(r))
		unread := found(r, verify.Unreadable)
		require.NotEmpty(t, unread, "sector %d: %s", sector, told(r))
		require.Condition(t, func() bool { return anyFound(unread, fmt.Sprintf("byte %d of the card", sector*512)) }, "sector %d: %s", sector, told(r))
		if sector*512 >= v.places.data && !slices.ContainsFunc(v.entries, func(at int64) bool { return at/512 == sector }) {
			require.Equal(t, len(v.files)-1, r.Counts.FilesMatching, "all else is still checked")
		}
	}
}
