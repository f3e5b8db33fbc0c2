package shopsync

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/durable"
	"cardwright/manifest/samename"
)

// The most that is read from a folder.
const (
	maxFiles   = 20_000
	maxFolders = 8        // inside one another
	maxName    = 200      // bytes of one name
	maxPackage = 32 << 30 // bytes of one package file: no card holds more
)

// folder is one of the two. Everything in it is reached by names within it, so that
// no link leads out.
type folder struct {
	dir      string
	root     *os.Root
	packages string // where packages are in it, with slashes
}

// openFolder opens a folder. packages is where it keeps its packages, below it.
func openFolder(dir, packages string) (*folder, error) {
	packages = path.Clean(filepath.ToSlash(packages))
	if !filepath.IsLocal(filepath.FromSlash(packages)) {
		return nil, fmt.Errorf("%s keeps its packages in %s, outside the shop folder: only files within it are synced; move them to %s/",
			dir, packages, packagesFolder)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	return &folder{dir: dir, root: root, packages: packages}, nil
}

func (f *folder) close() error { return f.root.Close() }

// at is the path of a file of the sync in this folder: each may keep its packages
// elsewhere.
func (f *folder) at(name string) string {
	if rest, ok := strings.CutPrefix(name, packagesAs); ok {
		return path.Join(f.packages, rest)
	}
	return name
}

// In a sync packages are named as in a shop folder that keeps them in packages/.
const (
	packagesFolder = "packages"
	packagesAs     = packagesFolder + "/"
)

func isPackage(name string) bool { return strings.HasPrefix(name, packagesAs) }

// stamp shows that a package is still the one that was read: it is read again only
// where size or time differ. It isn't a digest.File: its form is that of the saved
// state.
type stamp struct {
	Size   int64  `json:"size"`
	Time   int64  `json:"time"` // of its last change, ns
	SHA256 string `json:"sha256"`
}

// listing is the files of a folder.
type listing struct {
	files   map[string]fs.FileInfo
	refused map[string]string // what isn't synced, with why
}

// list finds all files that are synced. Links, devices and names that not every
// system can write are left out, with why.
func (f *folder) list() (listing, error) {
	l := listing{map[string]fs.FileInfo{}, map[string]string{}}
	for _, top := range []struct{ at, as string }{
		{manifest.CatalogueFolder, manifest.CatalogueFolder},
		{manifest.VesselsFolder, manifest.VesselsFolder},
		{f.packages, packagesFolder},
	} {
		info, err := f.root.Lstat(top.at)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return l, err
		case !info.IsDir():
			l.refused[top.as] = "a " + sort(info) + " is in the place of the folder"
		default:
			if err := f.below(&l, top.at, top.as, 0); err != nil {
				return l, err
			}
		}
	}
	keys := map[string]string{}
	for name := range l.files {
		key := samename.Key(name)
		if other, ok := keys[key]; ok {
			l.refused[name] = "to other systems this and " + path.Base(other) + " are one name: rename one of them"
			l.refused[other] = l.refused[name]
		}
		keys[key] = name
	}
	for name := range l.refused {
		delete(l.files, name)
	}
	return l, nil
}

func (f *folder) below(l *listing, at, as string, depth int) error {
	open, err := f.root.Open(at)
	if err != nil {
		return err
	}
	entries, err := open.ReadDir(maxFiles + 1)
	if err = errors.Join(open.Close(), ignoreEOF(err)); err != nil {
		return err
	}
	for _, e := range entries {
		name := as + "/" + e.Name()
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		if why := badName(e.Name()); why != "" {
			l.refused[name] = why
			continue
		}
		info, err := f.root.Lstat(at + "/" + e.Name())
		switch {
		case errors.Is(err, fs.ErrNotExist): // gone meanwhile
			continue
		case err != nil:
			return err
		}
		if len(l.files) > maxFiles {
			return fmt.Errorf("%s holds more than %d files, the most that are synced", f.dir, maxFiles)
		}
		switch {
		case info.IsDir() && depth == maxFolders:
			l.refused[name] = fmt.Sprintf("more than %d folders inside one another", maxFolders)
		case info.IsDir():
			err = f.below(l, at+"/"+e.Name(), name, depth+1)
		case !info.Mode().IsRegular():
			l.refused[name] = "a " + sort(info) + ", expected a file"
		case isPackage(name) && info.Size() > maxPackage:
			l.refused[name] = fmt.Sprintf("%d bytes, more than a card holds", info.Size())
		case !isPackage(name) && info.Size() > manifest.MaxFileBytes:
			l.refused[name] = fmt.Sprintf("%d bytes, expected at most %d", info.Size(), manifest.MaxFileBytes)
		default:
			l.files[name] = info
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

func sort(info fs.FileInfo) string {
	switch {
	case info.Mode()&fs.ModeSymlink != 0:
		return "link"
	case info.IsDir():
		return "folder"
	case info.Mode().IsRegular():
		return "file"
	}
	return "device or pipe"
}

// badName is why a name is not taken to other systems; "" where it may be.
func badName(name string) string {
	switch {
	case len(name) > maxName:
		return fmt.Sprintf("a name of %d bytes, expected at most %d", len(name), maxName)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "a name with characters that can't be shown"
	case strings.ContainsAny(name, `<>:"/\|?*`) || strings.TrimRight(name, ". ") != name || !filepath.IsLocal(name):
		return "a name that not every system can write"
	}
	return ""
}

// digest reads a file. A package whose stamp is still the known one is not read
// again.
func (f *folder) digest(ctx context.Context, name string, info fs.FileInfo, known stamp) (stamp, error) {
	is := stamp{Size: info.Size(), Time: info.ModTime().UnixNano()}
	if isPackage(name) && known.SHA256 != "" && known.Size == is.Size && known.Time == is.Time {
		return known, nil
	}
	in, err := f.open(name)
	if err != nil {
		return is, err
	}
	defer in.Close() // opened for reading only
	sum := sha256.New()
	n, err := io.Copy(sum, limited(ctx, in, is.Size))
	if err == nil && n != is.Size {
		err = fmt.Errorf("%s changed while it was read: sync again", name)
	}
	is.SHA256 = string(digest.Sum(sum))
	return is, err
}

func (f *folder) open(name string) (*os.File, error) {
	in, err := f.root.Open(f.at(name))
	if err != nil {
		return nil, err
	}
	if info, err := in.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, errors.Join(fmt.Errorf("%s is no longer a file", name), err, in.Close())
	}
	return in, nil
}

// limited ends with the context, and one byte after most.
func limited(ctx context.Context, in io.Reader, most int64) io.Reader {
	return io.LimitReader(&cancelled{ctx, in}, most+1)
}

type cancelled struct {
	ctx context.Context
	in  io.Reader
}

func (c *cancelled) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.in.Read(p)
}

// text reads a file of the catalogue or a vessel.
func (f *folder) text(name string) ([]byte, error) {
	in, err := f.open(name)
	if err != nil {
		return nil, err
	}
	defer in.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(in, manifest.MaxFileBytes+1))
	if err == nil && len(text) > manifest.MaxFileBytes {
		err = fmt.Errorf("%s: more than %d bytes", name, manifest.MaxFileBytes)
	}
	return text, err
}

// put writes a file completely or not at all. Its bytes must have the digest wanted, and
// what it replaces must still be what was seen there ("": nothing).
func (f *folder) put(ctx context.Context, name string, from io.Reader, size int64, want, instead string) (err error) {
	to := f.at(name)
	if err := f.root.MkdirAll(path.Dir(to), 0o755); err != nil {
		return err
	}
	temp := filepath.ToSlash(durable.Unfinished(filepath.FromSlash(to)))
	out, err := f.root.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, out.Close(), f.root.Remove(temp))
		}
	}()
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(out, sum), limited(ctx, from, size)); err != nil {
		return err
	}
	if is := string(digest.Sum(sum)); is != want {
		return fmt.Errorf("%s changed while it was read: sync again", name)
	}
	if err := out.Sync(); err != nil {
		return err
	}
	if err := f.still(ctx, name, instead); err != nil {
		return err
	}
	if err := out.Close(); err != nil {
		return err
	}
	if err := f.root.Rename(temp, to); err != nil {
		return err
	}
	return f.syncAbove(to)
}

// still is an error where somebody changed what is about to be replaced.
func (f *folder) still(ctx context.Context, name, digest string) error {
	info, err := f.root.Lstat(f.at(name))
	if errors.Is(err, fs.ErrNotExist) {
		if digest == "" {
			return nil
		}
		return fmt.Errorf("%s was removed meanwhile: sync again", name)
	}
	if err != nil {
		return err
	}
	is, err := f.digest(ctx, name, info, stamp{})
	if err == nil && is.SHA256 != digest {
		err = fmt.Errorf("%s was changed meanwhile: sync again", name)
	}
	return err
}

func (f *folder) syncAbove(name string) error {
	above, err := f.root.Open(path.Dir(name))
	if err != nil {
		return err
	}
	return errors.Join(durable.SyncOpenFolder(above), above.Close())
}

// keep copies what is about to be replaced or removed to where a person can find
// it.
func (f *folder) keep(name string, when time.Time) error {
	from := f.at(name)
	to := path.Join(ownFolder, "before", when.UTC().Format("20060102-150405"), name)
	if err := f.root.MkdirAll(path.Dir(to), 0o755); err != nil {
		return err
	}
	in, err := f.root.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(in, manifest.MaxFileBytes))
	if err != nil {
		return err
	}
	out, err := f.root.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	_, err = out.Write(text)
	return errors.Join(err, out.Sync(), out.Close())
}

// sweep removes what an interrupted sync left.
func (f *folder) sweep() error {
	return fs.WalkDir(f.root.FS(), ".", func(name string, e fs.DirEntry, err error) error {
		if err != nil {
			return nil // reported when it is listed
		}
		if e.IsDir() && name != "." && !f.within(name) {
			return fs.SkipDir
		}
		if _, is := durable.Finished(e.Name()); is && e.Type().IsRegular() && strings.Contains(name, "/") {
			return f.root.Remove(name)
		}
		return nil
	})
}

// within reports whether a folder is one that is synced, or is above or below one.
func (f *folder) within(name string) bool {
	for _, top := range []string{manifest.CatalogueFolder, manifest.VesselsFolder, f.packages} {
		if name == top || strings.HasPrefix(name, top+"/") || strings.HasPrefix(top, name+"/") {
			return true
		}
	}
	return false
}
