package intake

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/durable"
	"cardwright/manifest/problem"
	"cardwright/manifest/samename"
	"cardwright/media"
	"cardwright/media/place"
)

// Source is the package as the shop's folder has it.
func (f Found) Source() media.Source {
	return media.Source{Model: f.Model.ID, Version: f.Version, File: digest.File{Name: f.Name, Size: f.Size, SHA256: f.SHA256}}
}

// Again finds the model and the file in a shop that was loaded again. It is false
// where they are gone, or the release has other files now.
func (f *Found) Again(shop *manifest.Shop) bool {
	if !f.In(shop) {
		return false
	}
	files := 0
	if r := f.Model.Release(f.Version, f.Variant); r != nil {
		files = len(r.Files)
	}
	return f.Known != nil || files == f.files
}

// In is Again, but the release may have more files by now.
func (f *Found) In(shop *manifest.Shop) bool {
	if f.Model = shop.Model(f.Model.ID); f.Model == nil {
		return false
	}
	r := f.Model.Release(f.Version, f.Variant)
	if r == nil {
		return f.Known == nil && f.Instead == nil
	}
	return refind(r, &f.Known) && refind(r, &f.Instead)
}

// refind finds in a release the file that was loaded before.
func refind(r *manifest.Release, file **manifest.File) bool {
	if *file == nil {
		return true
	}
	i := slices.IndexFunc(r.Files, func(k *manifest.File) bool { return k.SHA256 == (*file).SHA256 && k.Name == (*file).Name })
	if i < 0 {
		return false
	}
	*file = r.Files[i]
	return true
}

// Taken is a package copied into the package folder under a temporary name. Commit
// gives it its name; Abandon deletes it.
type Taken struct {
	Path string // its place
	Was  string // "", or what stood there and is replaced

	sum  digest.SHA256
	temp string // "": it was there already, intact
	root string // the package folder
}

// Take copies the package next to its place and compares its digest. One that is
// there already, intact, stays.
func (f Found) Take(ctx context.Context, shop *manifest.Shop, progress func(int64)) (*Taken, error) {
	packages := media.PackagesOf(shop)
	t := &Taken{Path: packages.Place(f.Source()), root: packages.Dir, sum: f.SHA256}
	if path, err := packages.Find(f.Source()); err == nil {
		sum, err := digestOf(ctx, path)
		switch {
		case err != nil:
			return nil, fmt.Errorf("reading %s: %w", path, err)
		case sum == f.SHA256:
			t.Path = path
			return t, nil
		}
	}
	if f.placeShared(shop) {
		t.Path = packages.PlaceApart(f.Source())
	}
	if info, err := os.Lstat(t.Path); err == nil {
		switch {
		case !info.Mode().IsRegular():
			return nil, &Refused{Path: f.Path, What: "a place that is taken", Problem: problem.Problem{Found: t.Path + ", which isn't a plain file", Expected: "a file, or nothing", Advice: "move it away"}}
		case f.Known == nil:
			return nil, &Refused{Path: f.Path, What: "a place that is taken", Problem: problem.Problem{Found: t.Path + ", which isn't in the catalogue", Expected: "no file there", Advice: "look at it; then move it away, or choose another name with " + f.words.For(NameIt)}}
		}
		t.Was = media.Bytes(info.Size()) + " that differed"
	}
	if err := t.copy(ctx, f, progress); err != nil {
		return nil, err
	}
	return t, nil
}

// placeShared reports whether another file of the catalogue has the same name and
// version, and so the same place.
func (f Found) placeShared(shop *manifest.Shop) bool {
	return slices.ContainsFunc(entries(shop, f.Model.ID, f.Version, ""), func(e entry) bool {
		return samename.Same(e.file.Name, f.Name) && e.file.SHA256 != f.SHA256
	})
}

// WasThere reports whether the package was in its place already.
func (t *Taken) WasThere() bool { return t.temp == "" }

func digestOf(ctx context.Context, path string) (digest.SHA256, error) {
	in, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer in.Close() // opened for reading only
	sum := sha256.New()
	_, err = copyAll(ctx, sum, in, nil)
	return digest.Sum(sum), err
}

func (t *Taken) copy(ctx context.Context, f Found, progress func(int64)) error {
	in, err := f.open()
	if err != nil {
		return err
	}
	defer in.Close() // opened for reading only
	if err := place.MayMake(t.Path); err != nil {
		return fmt.Errorf("taking in %s: %w", f.Path, err)
	}
	if err := durable.MakeFolders(filepath.Dir(t.Path), 0o755); err != nil {
		return fmt.Errorf("taking in %s: %w", f.Path, err)
	}
	out, err := durable.Create(t.Path, 0o644)
	if err != nil {
		return fmt.Errorf("taking in %s: %w", f.Path, err)
	}
	t.temp = out.Name()
	sum := sha256.New()
	n, err := copyAll(ctx, io.MultiWriter(out, sum), io.LimitReader(in, f.Size+1), progress)
	err = errors.Join(err, out.Sync(), out.Close())
	if err == nil && (n != f.Size || digest.Sum(sum) != f.SHA256) {
		err = &Refused{Path: f.Path, What: "a download that changed while it was read", Problem: problem.Problem{Found: media.Bytes(n), Expected: media.Bytes(f.Size) + " with the digest of the first read", Advice: "wait until it is finished"}}
	}
	if err != nil {
		return errors.Join(fmt.Errorf("copying %s into the package folder: %w; the download is unchanged, and nothing was kept", f.Path, err), t.Abandon())
	}
	return nil
}

func (f Found) open() (io.ReadCloser, error) {
	if f.Member != "" {
		info, err := os.Stat(f.Path)
		if err != nil {
			return nil, fmt.Errorf("opening the download: %w", err)
		}
		archive := f.Source()
		archive.Size, archive.Member = info.Size(), f.Member
		return media.OpenMember(f.Path, archive)
	}
	in, err := os.Open(f.Path)
	if err != nil {
		return nil, fmt.Errorf("opening the download: %w", err)
	}
	return in, nil
}

// Commit gives the package its name in one step, durably.
func (t *Taken) Commit() error {
	if t.temp == "" {
		return nil
	}
	rename := durable.RenameNew
	if t.Was != "" {
		rename = durable.Rename
	}
	if err := rename(t.temp, t.Path); err != nil {
		return errors.Join(fmt.Errorf("putting the package in its place: %w", err), t.Abandon())
	}
	return nil
}

// Abandon deletes the copy, and the folders that were made for it.
func (t *Taken) Abandon() error {
	if t.temp == "" {
		return nil
	}
	err := os.Remove(t.temp)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	removeEmptyFolders(filepath.Dir(t.Path), t.root)
	return err
}

// removeEmptyFolders deletes a folder below the package folder, and those above it,
// as long as they are empty.
func removeEmptyFolders(dir, root string) {
	for dir != root && os.Remove(dir) == nil {
		dir = filepath.Dir(dir)
	}
}

// Withdraw deletes a package that Commit put in its place, where it could not be
// entered in the catalogue. now is the shop as it is by then: where it knows the
// package, or can't be loaded (nil), the package stays.
func (t *Taken) Withdraw(now *manifest.Shop) error {
	if t.temp == "" || t.Was != "" {
		return nil // it, or a wrong one, was there before
	}
	if now == nil || len(withDigest(entries(now, "", "", ""), t.sum)) > 0 {
		return nil
	}
	err := os.Remove(t.Path)
	removeEmptyFolders(filepath.Dir(t.Path), t.root)
	return err
}
