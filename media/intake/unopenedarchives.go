package intake

import (
	"archive/zip"
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/samename"
)

// packings are the archives that people publish, in addition to those in forms, by how they
// begin. From memory.
var packings = []struct {
	kind  string
	at    int
	bytes string
}{
	{"a zip archive", 0, "PK\x03\x04"},
	{"an empty zip archive", 0, "PK\x05\x06"},
	{"the first part of a zip archive", 0, "PK\x07\x08"},
	{"an arj archive", 0, "\x60\xea"},
	{"an lzh archive", 2, "-lh"},
}

// images are the forms that devices take as they are.
var images = []string{"a squashfs image", "a boot image", "a device tree", "a disc image"}

// packing is what kind of archive or packed file begins like this; "" for anything
// else.
func packing(head []byte) string {
	begins := func(at int, mark string) bool { return len(head) >= at && bytes.HasPrefix(head[at:], []byte(mark)) }
	for _, p := range packings {
		if begins(p.at, p.bytes) {
			return p.kind
		}
	}
	for _, f := range forms {
		if begins(f.at, f.bytes) && !slices.Contains(images, f.kind) {
			return f.kind
		}
	}
	if oldTar(head) {
		return "a tar archive"
	}
	return ""
}

// Places in a header of tar (POSIX.1-1988, before ustar; from memory).
const (
	tarHeader  = 512
	tarSum     = 148 // where its checksum is, in octal digits
	tarSumEnds = 156
)

// oldTar recognises a tar archive without a mark by the checksum of its first
// header.
func oldTar(head []byte) bool {
	if len(head) < tarHeader || head[0] == 0 {
		return false
	}
	said, err := strconv.ParseInt(strings.Trim(string(head[tarSum:tarSumEnds]), " \x00"), 8, 64)
	if err != nil {
		return false
	}
	sum := int64(0)
	for i, c := range head[:tarHeader] {
		if i >= tarSum && i < tarSumEnds {
			c = ' '
		}
		sum += int64(c)
	}
	return sum == said
}

// refuseUnopened refuses an archive that would go onto a card whole, where nothing
// says that its device opens archives. It doesn't matter who vouches for its bytes:
// they may be the maker's, and meant to be unpacked first.
func (x *examination) refuseUnopened(model *manifest.Model) error {
	kind := packing(x.content.head)
	if kind == "" || model.OpensArchives || x.request.Opens {
		return nil
	}
	if end := x.content.end(); end.missing != "" && !x.request.Despite && x.request.SHA256 == "" {
		return x.doubtful(end.kind+" without its end", end.missing, "a whole one", "the download was cut short: download it again")
	}
	r := &Refused{
		Path: x.request.Path, What: "an archive, and nothing says that " + model.ID + " opens archives", Problem: problem.Problem{
			Found:    kind,
			Expected: "the package itself, as the device takes it",
		}, Archive: []string{},
	}
	r.Advice = "unpack it, and take in what is inside"
	if x.zip != nil {
		r.Found += " of " + memberNames(x.zip.File)
		r.Advice = "take the package inside with " + x.act(NameMember) + ", or all with " + x.act(UnpackIt)
		if locked := x.zip.encrypted(); locked != "" {
			r.Found, r.Advice = "an encrypted zip archive: "+locked, "unpack it with its password first, and take in what is inside"
		}
		for _, m := range x.zip.File {
			if unfit(m) == "" {
				r.Archive = append(r.Archive, m.Name)
			}
		}
	}
	r.Advice += "; if the device opens archives itself, say so: " + x.act(OpensArchive, model.ID)
	return r
}

// clash is two of these names that would be one on a card, whatever their capitals,
// or one a file and a folder; "" where there are none.
func clash(names []string) string {
	type use struct {
		name   string
		folder bool
	}
	taken := map[string]use{}
	take := func(name string, folder bool) string {
		folded := samename.Key(name)
		first, ok := taken[folded]
		if !ok {
			taken[folded] = use{name, folder}
			return ""
		}
		if folder && first.folder && first.name == name {
			return ""
		}
		return fmt.Sprintf("%q and %q, one name on a card", first.name, name)
	}
	for _, name := range names {
		for i, c := range name {
			if c != '/' {
				continue
			}
			if both := take(name[:i], true); both != "" {
				return both
			}
		}
		if both := take(name, false); both != "" {
			return both
		}
	}
	return ""
}

// membersOf are the names of an archive's files.
func membersOf(all []*zip.File) (names []string) {
	for _, m := range all {
		if !m.Mode().IsDir() {
			names = append(names, m.Name)
		}
	}
	return names
}
