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

// SourceOf says where a file of the catalogue stands in the shop's folder.
func SourceOf(m *manifest.Model, r *manifest.Release, f *manifest.File) media.Source {
	return media.Source{Model: m.ID, Version: r.Version, Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256}
}

// Discard takes a file out of the package folder that the catalogue, as now has
// it, doesn't have any more. It returns its path; "" where it wasn't there, or is
// still somebody's package. Until then it is a file that the catalogue doesn't
// know, which package check tells: nothing takes it for a package.
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
		if p, err := packages.Find(SourceOf(e.model, e.release, e.file)); err == nil && p == path {
			return "", nil
		}
	}
	if err := os.Remove(path); err != nil {
		return "", fmt.Errorf("taking %s out of the package folder: %w", path, err)
	}
	removeEmpty(filepath.Dir(path), packages.Dir)
	return path, nil
}

// Settle moves a package to the usual place for its name, once what had that
// place is gone. Where something has it still, the package is found where it
// stands.
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
	removeEmpty(filepath.Dir(t.Path), t.root)
	t.Path = place
	return nil
}
