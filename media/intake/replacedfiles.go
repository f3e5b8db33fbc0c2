package intake

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/media"
)

// Discard deletes a file from the package folder that the catalogue, as in now, no
// longer has. It returns its path; "" where it wasn't there, or is another release's
// package as well. Until then it is an unknown file, which the inventory shows and
// nothing takes for a package.
func Discard(now *manifest.Shop, old media.Source) (string, error) {
	packages := media.PackagesOf(now)
	path, err := packages.Find(old)
	var missing *media.PackageError
	switch {
	case errors.As(err, &missing):
		return "", nil // it isn't there, or something else is, which isn't ours to take
	case err != nil:
		return "", err
	}
	for _, e := range entries(now, "", "", "") {
		if p, err := packages.Find(media.SourceOf(e.model, e.release, e.file)); err == nil && p == path {
			return "", nil
		}
	}
	if err := os.Remove(path); err != nil {
		return "", fmt.Errorf("taking %s out of the package folder: %w", path, err)
	}
	removeEmptyFolders(filepath.Dir(path), packages.Dir)
	return path, nil
}

// Settle moves a package to the usual place for its name, once that is free. Until
// then the package is found where it is.
func (t *Taken) Settle(now *manifest.Shop, f Found) error {
	packages := media.PackagesOf(now)
	place := packages.Place(f.Source())
	if t.Path != packages.PlaceApart(f.Source()) {
		return nil
	}
	if _, err := os.Lstat(place); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err := durable.Rename(t.Path, place); err != nil {
		return fmt.Errorf("moving %s to its place: %w", t.Path, err)
	}
	removeEmptyFolders(filepath.Dir(t.Path), t.root)
	t.Path = place
	return nil
}
