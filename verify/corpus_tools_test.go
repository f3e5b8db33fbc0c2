package verify_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify"
)

// The corpus is made with outside tools: dosfstools, mtools, fdisk, gdisk,
// exfatprogs, exfat-fuse, e2fsprogs, zip. No byte of it comes from what writes cards here.

const (
	corpusShop = "../cmd/cardwright/testdata/shop"
	corpusCard = 930 * 4 << 20 // a nominal 4 GB card
	corpusTool = "make test installs dosfstools, mtools, fdisk, gdisk, exfatprogs, exfat-fuse, e2fsprogs and zip"
)

// corpusShopWith is the small shop with other files in place of its own.
func corpusShopWith(t testing.TB, files map[string]string) *manifest.Shop {
	with := map[string][]byte{}
	for name, text := range files {
		with[name] = []byte(text)
	}
	shop, err := manifest.LoadWith(corpusShop, with)
	require.NoError(t, err)
	return shop
}

// changed is a file of the small shop with one text replaced.
func changed(name string, oldNew ...string) map[string]string {
	text, err := os.ReadFile(filepath.Join(corpusShop, name))
	if err != nil {
		panic(err)
	}
	out := string(text)
	for i := 0; i < len(oldNew); i += 2 {
		if !strings.Contains(out, oldNew[i]) {
			panic(name + " has no " + oldNew[i])
		}
		out = strings.Replace(out, oldNew[i], oldNew[i+1], 1)
	}
	return map[string]string{name: out}
}

// stranger is a card that somebody else made, as an image file.
type stranger struct {
	t     testing.TB
	path  string
	at    string // what mtools adds to the image's name
	start int64
	shop  *manifest.Shop
	files []media.CardFile // of the vessel's first card
	exfat bool
}

// corpusDir is a folder in memory where there is one: images are large and sparse.
func corpusDir(t testing.TB) string {
	if info, err := os.Stat("/dev/shm"); err != nil || !info.IsDir() {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp("/dev/shm", "corpus")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func newStranger(t testing.TB, shop *manifest.Shop, vessel string, size int64) *stranger {
	s := &stranger{t: t, path: filepath.Join(corpusDir(t), "card.img"), shop: shop}
	if vessel != "" {
		if layout, _ := corpusPlan(t, shop, vessel, corpusCard); len(layout.Cards) > 0 {
			s.files = layout.Cards[0].Files
		}
	}
	require.NoError(t, os.WriteFile(s.path, nil, 0o600))
	require.NoError(t, os.Truncate(s.path, size))
	return s
}

// outside runs an outside tool, wherever the system keeps it.
func outside(t testing.TB, in, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(outsideTool(t, name), args...)
	cmd.Stdin = strings.NewReader(in)
	cmd.Env = append(os.Environ(), "MTOOLSRC=/dev/null", "MTOOLS_SKIP_CHECK=1", "LC_ALL=C.UTF-8", "MTOOLS_NO_VFAT=0")
	out, err := cmd.CombinedOutput()
	require.NoErrorf(t, err, "%s %q: %s (%s)", name, args, out, corpusTool)
	return string(out)
}

func outsideTool(t testing.TB, name string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/sbin", "/sbin") {
		p := filepath.Join(dir, name)
		if info, err := os.Stat(p); err == nil && !info.IsDir() {
			return p
		}
	}
	t.Fatalf("%s is missing: %s", name, corpusTool)
	return ""
}

// bare puts a FAT file system straight on the card.
func (s *stranger) bare(args ...string) {
	outside(s.t, "", "mkfs.fat", append(args, "--invariant", s.path)...)
}

// fat32 is the usual one, with clusters of 32 KiB.
func (s *stranger) fat32() { s.bare("-F", "32", "-s", "64", "-n", "STRANGER") }

// table writes a partition table in sfdisk's words.
func (s *stranger) table(script string) { outside(s.t, script, "sfdisk", "-q", s.path) }

// within puts a FAT file system of that many MiB into a partition at 4 MiB.
func (s *stranger) within(mib int, args ...string) {
	s.at, s.start = "@@4M", 4<<20
	args = append(args, "--invariant", "-h", "8192", "--offset", "8192", s.path, strconv.Itoa(mib<<10))
	outside(s.t, "", "mkfs.fat", args...)
}

func (s *stranger) mtool(in, name string, args ...string) string {
	s.t.Helper()
	return outside(s.t, in, name, append([]string{"-i", s.path + s.at}, args...)...)
}

// put writes a file onto the card, with the folders above it.
func (s *stranger) put(name string, content []byte) {
	s.t.Helper()
	if s.exfat {
		s.mounted(func(dir string) { s.write(dir, name, content) })
		return
	}
	s.folders(path.Dir(name))
	s.mtool(string(content), "mcopy", "-o", "-", "::"+name)
}

func (s *stranger) folders(dir string) {
	made := ""
	for part := range strings.SplitSeq(dir, "/") {
		if part == "." || part == "" {
			continue
		}
		made = path.Join(made, part)
		cmd := exec.Command(outsideTool(s.t, "mmd"), "-i", s.path+s.at, "-D", "s", "::"+made)
		cmd.Env = append(os.Environ(), "MTOOLSRC=/dev/null", "MTOOLS_SKIP_CHECK=1", "LC_ALL=C.UTF-8")
		_ = cmd.Run() // it fails where the folder is there already; mcopy tells the rest
	}
}

// pkg is the content of one of the shop's package files, by its name.
func (s *stranger) pkg(name string) []byte {
	s.t.Helper()
	found, err := filepath.Glob(filepath.Join(corpusShop, "packages/*/*", name))
	require.NoError(s.t, err)
	require.Len(s.t, found, 1, name)
	content, err := os.ReadFile(found[0])
	require.NoError(s.t, err)
	return content
}

// right puts every file of the vessel's card where it belongs, but for those
// whose name is left out.
func (s *stranger) right(leftOut ...string) {
	s.t.Helper()
	for _, f := range s.files {
		if !strings.Contains(strings.Join(leftOut, "\n"), path.Base(f.Path)) {
			s.put(f.Path, s.pkg(path.Base(f.Path)))
		}
	}
}

// good is an ordinary card with all that the vessel needs.
func (s *stranger) good() { s.fat32(); s.right() }

func (s *stranger) bytes(at int64, n int) []byte {
	f, err := os.Open(s.path)
	require.NoError(s.t, err)
	defer f.Close()
	b := make([]byte, n)
	_, err = f.ReadAt(b, at)
	require.NoError(s.t, err)
	return b
}

func (s *stranger) patch(at int64, b ...byte) {
	f, err := os.OpenFile(s.path, os.O_WRONLY, 0)
	require.NoError(s.t, err)
	defer f.Close()
	_, err = f.WriteAt(b, at)
	require.NoError(s.t, err)
}

// where things are on a FAT32 volume, by the specification's table of fields.
type fatPlaces struct {
	fat, fatBytes, data, cluster int64
}

func (s *stranger) places() fatPlaces {
	b := s.bytes(s.start, 512)
	sector := int64(binary.LittleEndian.Uint16(b[11:]))
	p := fatPlaces{cluster: int64(b[13]) * sector}
	p.fat = s.start + int64(binary.LittleEndian.Uint16(b[14:]))*sector
	p.fatBytes = int64(binary.LittleEndian.Uint32(b[36:])) * sector
	p.data = p.fat + int64(b[16])*p.fatBytes
	return p
}

func (p fatPlaces) of(cluster uint32) int64 { return p.data + int64(cluster-2)*p.cluster }

// clusters are those of a file in their order, by mtools.
func (s *stranger) clusters(name string) (all []uint32) {
	out := s.mtool("", "mshowfat", "::"+name)
	for run := range strings.SplitSeq(out, "<") {
		run, _, ok := strings.Cut(run, ">")
		if !ok {
			continue
		}
		first, last, two := strings.Cut(run, "-")
		a, err := strconv.ParseUint(first, 10, 32)
		require.NoError(s.t, err, out)
		b := a
		if two {
			b, err = strconv.ParseUint(last, 10, 32)
			require.NoError(s.t, err, out)
		}
		for c := a; c <= b; c++ {
			all = append(all, uint32(c))
		}
	}
	require.NotEmpty(s.t, all, out)
	return all
}

// link sets a cluster's entry in both FATs.
func (s *stranger) link(cluster, to uint32) {
	p := s.places()
	for i := range int64(2) {
		s.patch(p.fat+i*p.fatBytes+int64(cluster)*4, binary.LittleEndian.AppendUint32(nil, to)...)
	}
}

// entry is where the directory entry with this short name of 11 bytes stands.
func (s *stranger) entry(folder uint32, short string) int64 {
	p := s.places()
	at := bytes.Index(s.bytes(p.of(folder), int(p.cluster)), []byte(short))
	require.GreaterOrEqual(s.t, at, 0, short)
	return p.of(folder) + int64(at)
}

// print is the SHA-256 of all that isn't a hole, with where it is, and of
// the size; and the time of the last change.
func print(t testing.TB, name string) (string, time.Time) {
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	sum := sha256.New()
	const seekData, seekHole = 3, 4
	for at := int64(0); ; {
		from, err := f.Seek(at, seekData)
		if err != nil { // no data past this
			break
		}
		to, err := f.Seek(from, seekHole)
		require.NoError(t, err)
		fmt.Fprintf(sum, "%d-%d\n", from, to)
		_, err = io.Copy(sum, io.NewSectionReader(f, from, to-from))
		require.NoError(t, err)
		at = to
	}
	return fmt.Sprintf("%d %s", info.Size(), hex.EncodeToString(sum.Sum(nil))), info.ModTime()
}

func corpusPlan(t testing.TB, shop *manifest.Shop, id string, size int64) (media.Layout, order.Plan) {
	t.Helper()
	vessel := shop.Vessel(id)
	require.NotNil(t, vessel)
	plan, err := order.Make(shop, vessel)
	require.NoError(t, err)
	require.Nil(t, plan.Conflict)
	layout, laid, err := media.Lay(shop, vessel, plan, size)
	if err != nil { // no card of this size: the report says why
		layout, laid, err = media.Lay(shop, vessel, plan)
	}
	require.NoError(t, err)
	return layout, laid
}

// corpusCommands stand for the commands that advice names.
var corpusCommands = verify.Commands{Verify: "VERIFY", Order: "ORDER", Drive: "DRIVE", Prepare: "PREPARE", Repair: "REPAIR"}

// asked is what `verify --for` expects of a card, or `verify` without it.
func asked(t testing.TB, shop *manifest.Shop, id string, size int64, on verify.Listing) *verify.Expected {
	t.Helper()
	if id == "" {
		return &verify.Expected{FromRecord: true, Aboard: &verify.Aboard{Shop: shop}, Commands: corpusCommands}
	}
	layout, plan := corpusPlan(t, shop, id, size)
	vessel := shop.Vessel(id)
	card, ok := verify.Choose(layout, on)
	if !ok {
		return &verify.Expected{
			Nothing: true, RecordOptional: true, Record: media.Record{Vessel: id, VesselName: vessel.Name},
			Aboard: &verify.Aboard{Shop: shop, Vessel: vessel, Plan: plan}, Commands: corpusCommands,
		}
	}
	e := verify.ForCard(layout, card, nil, media.PackagesOf(shop))
	e.Aboard, e.Commands = &verify.Aboard{Shop: shop, Vessel: vessel, Plan: plan, Card: card.Number}, corpusCommands
	return &e
}

// judgeStranger judges an image file and asserts that nothing of it changed.
func judgeStranger(t testing.TB, s *stranger, vessel string) verify.Report {
	t.Helper()
	sum, when := print(t, s.path)
	f, err := os.Open(s.path)
	require.NoError(t, err)
	defer f.Close()
	r := judgeBy(t, s, f, vessel)
	sumAfter, whenAfter := print(t, s.path)
	require.Equal(t, sum, sumAfter, "the card was written to")
	require.Equal(t, when, whenAfter, "the card was written to")
	return r
}

// judgeBy judges a card by way of a reader.
func judgeBy(t testing.TB, s *stranger, read io.ReaderAt, vessel string) verify.Report {
	t.Helper()
	info, err := os.Stat(s.path)
	require.NoError(t, err)
	size := info.Size() / 512 * 512
	e := asked(t, s.shop, vessel, size, verify.List(read, size))
	return verify.Card(context.Background(), read, size, e, nil)
}
