package manifest

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/problem"
)

// ShopFile marks a shop folder.
const ShopFile = "shop.yaml"

// The folders of a shop that Load reads.
const (
	CatalogueFolder = "catalogue"
	VesselsFolder   = "vessels"
)

// Bounds on a shop folder.
const (
	MaxFileBytes = 256 << 10 // one file
	maxShopBytes = 16 << 20  // all files that are read
	maxFiles     = 2000      // files below the catalogue folder, or below the vessels folder
	maxFolders   = 8         // folders inside one another, below each of these
)

// Load reads a shop folder: shop.yaml, catalogue/*.yaml and vessels/*.yaml and
// those in folders below, in order of name. It returns Mistakes when the files can
// be read and say something wrong, and another error when dir holds no shop.yaml
// or a file can't be read.
func Load(dir string) (*Shop, error) { return LoadWith(dir, nil) }

// LoadWith reads a shop folder as it would be with these files in it, by their
// names from the shop folder with slashes between: new ones, or others in place
// of those that are there. Nothing is written.
func LoadWith(dir string, files map[string][]byte) (*Shop, error) {
	shop, ms, err := read(dir, files)
	switch {
	case err != nil:
		return nil, err
	case len(ms) > 0:
		return nil, ms
	}
	return shop, nil
}

// read is LoadWith with what could be read of a shop that has mistakes.
func read(dir string, files map[string][]byte) (*Shop, Mistakes, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("reading shop: %w", err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("reading shop: %w", err)
	}
	defer root.Close() // opened for reading only
	if _, err := root.Lstat(ShopFile); errors.Is(err, fs.ErrNotExist) && files[ShopFile] == nil {
		return nil, nil, fmt.Errorf("reading shop: %w in %s", errNoShop, dir)
	}
	l := loader{root: root, with: files, shop: &Shop{Dir: dir}}
	if err := l.load(); err != nil {
		return nil, nil, fmt.Errorf("reading shop: %w", err)
	}
	return l.shop, l.found.sorted(), nil
}

// loader reads the files of one shop folder.
type loader struct {
	root   *os.Root
	with   map[string][]byte // texts in place of the folder's files
	shop   *Shop
	found  collector
	bytes  int64           // read so far
	faulty map[string]bool // files with a mistake
}

func (l *loader) load() error {
	l.faulty = map[string]bool{}
	if err := l.file(ShopFile, l.shop); err != nil {
		return err
	}
	err := l.folder(CatalogueFolder, func(name string) error {
		m := &Model{}
		l.shop.Models = append(l.shop.Models, m)
		return l.file(name, m)
	})
	if err != nil {
		return err
	}
	err = l.folder(VesselsFolder, func(name string) error {
		v := &Vessel{}
		l.shop.Vessels = append(l.shop.Vessels, v)
		return l.file(name, v)
	})
	if err != nil {
		return err
	}
	c := checker{shop: l.shop, found: &l.found, faulty: l.faulty}
	c.check()
	slices.SortStableFunc(l.shop.Models, func(a, b *Model) int { return cmp.Compare(a.ID, b.ID) })
	slices.SortStableFunc(l.shop.Vessels, func(a, b *Vessel) int { return cmp.Compare(a.ID, b.ID) })
	return nil
}

// folder calls read with each YAML file of a folder and of those below it, in
// order of name. A folder that isn't there has no files.
func (l *loader) folder(name string, read func(name string) error) error {
	files, err := l.files(name)
	if err != nil {
		return err
	}
	for _, file := range files {
		switch ext := path.Ext(file); {
		case ext == ".yaml":
			if err := read(file); err != nil {
				return err
			}
		case yamlEnd(file):
			l.mistake(file, "file would be ignored", "a name that ends in "+ext, "a name that ends in .yaml",
				"rename it to "+quote(strings.TrimSuffix(path.Base(file), ext)+".yaml"))
		}
	}
	return nil
}

// yamlEnd reports whether a name looks like that of a YAML file.
func yamlEnd(name string) bool {
	ext := path.Ext(name)
	return strings.EqualFold(ext, ".yaml") || strings.EqualFold(ext, ".yml")
}

// files is what is in a folder and those below it, in order, with what LoadWith
// adds. What begins with a dot is no part of a shop.
func (l *loader) files(folder string) ([]string, error) {
	names, err := l.below(folder, 0, maxFiles)
	if err != nil {
		return nil, err
	}
	for file := range l.with {
		if strings.HasPrefix(file, folder+"/") && !slices.Contains(names, file) {
			names = append(names, file)
		}
	}
	if len(names) > maxFiles {
		l.mistake(folder, "too many files", fmt.Sprintf("more than %d", maxFiles), fmt.Sprintf("at most %d", maxFiles), "")
		return nil, nil
	}
	slices.Sort(names)
	return names, nil
}

// below is files for the entries of the folder itself, and stops when there are
// more than most.
func (l *loader) below(folder string, depth, most int) ([]string, error) {
	entries, err := l.listed(folder)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		file := path.Join(folder, e.Name())
		switch {
		case len(names) > most:
			return names, nil
		case strings.HasPrefix(e.Name(), "."):
		case yamlEnd(file) || !l.isFolder(file, e):
			names = append(names, file)
		case e.Type()&fs.ModeSymlink != 0:
			l.mistake(file, "folder would be ignored", "a link to a folder", "the folder itself, with its files", "move the folder here")
		case depth == maxFolders:
			l.mistake(file, "folder would be ignored", fmt.Sprintf("more than %d folders inside one another", maxFolders), fmt.Sprintf("at most %d", maxFolders), "move it up")
		default:
			more, err := l.below(file, depth+1, most-len(names))
			if err != nil {
				return nil, err
			}
			names = append(names, more...)
		}
	}
	return names, nil
}

// isFolder follows links that stay within the shop folder.
func (l *loader) isFolder(name string, e fs.DirEntry) bool {
	if e.Type()&fs.ModeSymlink == 0 {
		return e.IsDir()
	}
	info, err := l.root.Stat(name)
	return err == nil && info.IsDir()
}

func (l *loader) listed(name string) ([]fs.DirEntry, error) {
	folder, err := l.root.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer folder.Close() // opened for reading only
	entries, err := folder.ReadDir(maxFiles + 1)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return entries, nil
}

// file decodes one file into out, a pointer to one of the manifest's types.
func (l *loader) file(name string, out positioned) error {
	before := len(l.found.all)
	data, err := l.read(name)
	if err != nil {
		return err
	}
	if data != nil {
		decodeFile(shown(name), data, out, &l.found)
	}
	if len(l.found.all) > before {
		l.faulty[shown(name)] = true
	}
	return nil
}

// decodeFile fills out from a file's text.
func decodeFile(name string, data []byte, out positioned, found *collector) {
	out.SetAt("", Pos{File: name, Line: 1, Column: 1})
	if m := foreignText(name, data); m != nil {
		found.add(*m)
		return
	}
	before := len(found.all)
	known := checkText(name, data, found)
	parsed := &collector{}
	root := parse(name, data, parsed)
	if root == nil && len(found.all) > before {
		return // the characters refused are reason enough not to parse
	}
	found.all = append(found.all, parsed.all...)
	if root != nil {
		d := decoder{file: name, known: known, found: found}
		d.mapping(root, reflect.ValueOf(out).Elem())
	}
}

// read returns the text of a file, or nil when it has reported a mistake.
func (l *loader) read(name string) ([]byte, error) {
	data, given := l.with[name]
	if !given {
		var err error
		if data, err = l.stored(name); data == nil || err != nil {
			return nil, err
		}
	}
	l.bytes += int64(len(data))
	switch {
	case len(data) > MaxFileBytes:
		l.mistake(name, "file too large", fmt.Sprintf("more than %d bytes", MaxFileBytes), fmt.Sprintf("at most %d bytes", MaxFileBytes), "")
		return nil, nil
	case l.bytes > maxShopBytes:
		return nil, fmt.Errorf("more than %d bytes in the files of the shop folder", maxShopBytes)
	}
	return data, nil
}

// stored is read for a file in the folder; a file that is too long is cut
// one byte behind the bound.
func (l *loader) stored(name string) ([]byte, error) {
	info, err := l.root.Stat(name)
	if err != nil {
		return nil, l.unreachable(name, err)
	}
	if !info.Mode().IsRegular() {
		l.mistake(name, "not a file", "a folder or a device", "a file", "")
		return nil, nil
	}
	f, err := l.root.Open(name)
	if err != nil {
		return nil, l.unreachable(name, err)
	}
	defer f.Close() // opened for reading only
	return io.ReadAll(io.LimitReader(f, MaxFileBytes+1))
}

// unreachable reports a link that leads out of the shop folder, or nowhere, as a
// mistake; every other error is one of reading, and is returned.
func (l *loader) unreachable(name string, err error) error {
	info, lerr := l.root.Lstat(name)
	if lerr != nil || info.Mode()&fs.ModeSymlink == 0 {
		return err
	}
	l.mistake(name, "link refused", "a link that leads out of the shop folder, or nowhere", "a file in the shop folder", "put a copy of the file here")
	return nil
}

func (l *loader) mistake(file, what, found, expected, hint string) {
	l.found.add(Mistake{At: Pos{File: shown(file)}, What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
}

// shown makes a file's name safe to show on a terminal.
func shown(name string) string {
	q := strconv.Quote(name)
	if q == `"`+name+`"` {
		return name
	}
	return q
}
