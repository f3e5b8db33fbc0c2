package verify_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"unicode"

	"github.com/diskfs/go-diskfs/backend"
	"github.com/diskfs/go-diskfs/filesystem/fat32"
	"golang.org/x/text/unicode/norm"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/verify"
)

// A model of a device: it reads a card with go-diskfs, which shares nothing
// with what reads cards here, and takes what its card rules say: from the
// folder that is chosen on its screen, from a fixed one, the newest that it finds
// there, or, at power-up, whatever is on the card. How devices compare names,
// and whether they stop where a folder ends, isn't known: it is all devices at
// once, and content with a card only if each of them would be.

// shown is a file or folder as a device lists it.
type shown struct {
	path, short string
	dir, behind bool
	sum         string
	size        int64
	text        string // of the record's files
}

// compared is how devices compare names (Unicode Standard 3.13 and Annex #15);
// each must find what it looks for, and nothing else.
var compared = []func(string) string{
	func(s string) string { return strings.Map(unicode.ToUpper, s) },
	func(s string) string { return strings.Map(unicode.ToLower, s) },
	func(s string) string { return norm.NFC.String(strings.Map(unicode.ToUpper, norm.NFC.String(s))) },
	func(s string) string { return strings.Map(simplyFolded, s) },
}

// simplyFolded is the least of the characters that fold to the same.
func simplyFolded(r rune) rune {
	least := r
	for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
		least = min(least, f)
	}
	return least
}

// foundBy reports whether any device would find something by a name; surely: all.
func foundBy(want, long, short string) (any, surely bool) {
	surely = true
	for _, f := range compared {
		ok := f(long) == f(want)
		any, surely = any || ok || short != "" && f(short) == f(want), surely && ok
	}
	return any, surely
}

// device is the model with what it can read of one card.
type device struct {
	files []shown
	plan  order.Plan
	card  int
	shop  *manifest.Shop
	boat  *manifest.Vessel
	names map[string]string // digest → "model version" of every release
}

// memoryDrive is a card for go-diskfs.
type memoryDrive struct {
	io.ReaderAt
	size int64
}

func (memoryDrive) Stat() (fs.FileInfo, error)              { return nil, errors.ErrUnsupported }
func (memoryDrive) Read([]byte) (int, error)                { return 0, errors.ErrUnsupported }
func (memoryDrive) Close() error                            { return nil }
func (memoryDrive) Seek(int64, int) (int64, error)          { return 0, errors.ErrUnsupported }
func (memoryDrive) Sys() (*os.File, error)                  { return nil, errors.ErrUnsupported }
func (memoryDrive) Writable() (backend.WritableFile, error) { return nil, errors.ErrUnsupported }
func (memoryDrive) Path() string                            { return "" }

// read lists the card and digests its files.
func (d *device) read(card io.ReaderAt, start, size int64) error {
	disk, err := fat32.Read(memoryDrive{card, size}, size-start, start, 512)
	if err != nil {
		return err
	}
	return d.readFolder(disk, ".")
}

type shortNamed interface{ ShortName() string }

func (d *device) readFolder(disk *fat32.FileSystem, dir string) error {
	entries, err := disk.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return err
		}
		if e.Name() == "." || e.Name() == ".." || info.Mode()&fs.ModeIrregular != 0 {
			continue
		}
		s := shown{path: path.Join(dir, e.Name()), dir: e.IsDir(), size: info.Size()}
		if n, ok := info.(shortNamed); ok {
			s.short = n.ShortName()
		}
		if !s.dir && s.size > 0 {
			f, err := disk.OpenFile(s.path, os.O_RDONLY)
			if err != nil {
				continue // a volume label
			}
			content := make([]byte, s.size)
			n, err := f.Read(content)
			if err != nil && err != io.EOF {
				return err
			}
			sum := sha256.Sum256(content[:n]) // of another file's bytes where there are two of the name
			s.sum = hex.EncodeToString(sum[:])
			if strings.EqualFold(dir, "_card") {
				s.text = string(content[:n])
			}
		}
		d.files = append(d.files, s)
		if s.dir {
			if err := d.readFolder(disk, s.path); err != nil {
				return err
			}
		}
	}
	return nil
}

// at are the files that some device would find at a path.
func (d *device) at(want string) (all []shown) {
	for _, f := range d.files {
		if !f.dir && d.finds(want, f) {
			all = append(all, f)
		}
	}
	return all
}

func (d *device) finds(want string, f shown) bool {
	wanted, has := strings.Split(want, "/"), strings.Split(f.path, "/")
	if len(wanted) != len(has) {
		return false
	}
	for i := range wanted {
		short := ""
		if i == len(has)-1 {
			short = f.short
		} else {
			short = d.shortOf(path.Join(has[:i+1]...))
		}
		if any, _ := foundBy(wanted[i], has[i], short); !any {
			return false
		}
	}
	return true
}

func (d *device) shortOf(folder string) string {
	for _, f := range d.files {
		if f.dir && f.path == folder {
			return f.short
		}
	}
	return ""
}

// below reports whether a device would come upon a file in a folder.
func below(f shown, folder string) bool {
	for _, c := range compared {
		if folder == "" || strings.HasPrefix(c(f.path), c(folder)+"/") {
			return true
		}
	}
	return false
}

// trouble says why the card isn't one for this visit; "": every step finds
// exactly its release, and nothing else that its device could take.
func (d *device) trouble(r verify.Report) string {
	for i, s := range d.plan.Steps {
		if s.Card != d.card || len(s.Files) == 0 {
			continue
		}
		if why := d.step(s, r.Brings[i].Folder); why != "" {
			return fmt.Sprintf("step %d: %s", s.Number, why)
		}
	}
	return d.record(r)
}

func (d *device) step(s order.Step, chosen string) string {
	id := s.Device
	if s.Through != "" {
		id = s.Through
	}
	rules := d.shop.Model(d.boat.Device(id).Model).Card
	folder := chosen
	if rules.Folder != manifest.AnyFolder {
		folder = strings.Trim(rules.Folder, "/")
	}
	release := s.Model + " " + string(s.To)
	for _, f := range s.Files {
		found := d.at(path.Join(folder, f.Name))
		switch {
		case len(found) != 1:
			return fmt.Sprintf("%d files for %s in /%s", len(found), f.Name, folder)
		case found[0].behind || found[0].sum != string(f.SHA256):
			return fmt.Sprintf("another %s in /%s", f.Name, folder)
		}
		if _, surely := foundBy(path.Join(folder, f.Name), found[0].path, ""); !surely {
			return fmt.Sprintf("%s is found by some devices alone", f.Name)
		}
	}
	for _, f := range d.files {
		everywhere := rules.AtPowerUp && s.Through == ""
		its := d.names[f.sum]
		switch {
		case f.dir || f.size == 0 || !everywhere && !below(f, folder):
		case strings.HasPrefix(its, s.Model+" ") && its != release:
			return fmt.Sprintf("%s is there as well, at %s", its, f.path)
		case its == "" && d.looksLikePackage(f.path) && (everywhere || path.Dir(f.path) == path.Clean(folder)):
			return fmt.Sprintf("something that ends like a package, %s", f.path)
		case f.behind && everywhere:
			return fmt.Sprintf("something behind a folder's end, %s", f.path)
		}
	}
	return ""
}

func (d *device) looksLikePackage(p string) bool {
	return slices.ContainsFunc(d.plan.Steps, func(s order.Step) bool {
		return slices.ContainsFunc(s.Files, func(f digest.File) bool {
			return path.Ext(f.Name) != "" && strings.EqualFold(path.Ext(f.Name), path.Ext(p))
		})
	})
}

// record checks what a person relies on: the record's folder holds what belongs
// there and nothing else, is this vessel's, this plan's and this card's, and its
// list of digests is true, but for folders of which it is said that they aren't
// there any more.
func (d *device) record(r verify.Report) string {
	own := map[string]shown{}
	for _, f := range d.files {
		if below(f, "_card") {
			name := strings.ToLower(f.path[len("_card/"):])
			if f.behind && !d.looksLikePackage(f.path) {
				continue // stale bytes: nobody opens them, and no device installs them
			}
			if f.behind || f.dir || !slices.Contains([]string{"record.json", "sha256sums", "install-order.txt"}, name) {
				return "the record's folder has " + f.path
			}
			own[name] = f
		}
	}
	if len(own) == 0 {
		return ""
	}
	var claims struct {
		Vessel, Plan string
		Card         int
	}
	if err := json.Unmarshal([]byte(own["record.json"].text), &claims); err != nil || len(own) != 3 {
		return "the record's folder isn't whole"
	}
	if claims.Vessel != d.boat.ID || claims.Plan != d.plan.ID() || claims.Card != d.card {
		return fmt.Sprintf("the record is that of %+v", claims)
	}
	for line := range strings.Lines(own["sha256sums"].text) {
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		if found := d.at(name); (len(found) != 1 || found[0].sum != sum && found[0].size > 0) && !r.OrderOutdated() {
			return "the list of digests isn't true of " + name
		}
	}
	return ""
}
