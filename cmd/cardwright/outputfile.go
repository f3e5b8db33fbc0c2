package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/keys"
	"cardwright/media/place"
	"cardwright/verify/ledger/store"
)

// page is a file that was asked for beside an answer.
type page struct {
	flag  string // that names it, for what is said of it
	path  string
	shop  *manifest.Shop // whose files it must not replace; nil: no shop
	cards []string       // that it must not be written to
}

// check refuses a page where something would be lost by it. It is called before
// a card is read, and again by write: the file may have come meanwhile.
func (p page) check() error {
	if p.path == "" {
		return nil
	}
	if err := place.MayMake(p.path); err != nil {
		return usage(fmt.Errorf("--%s %w", p.flag, err))
	}
	info, err := os.Stat(p.path)
	switch {
	case err == nil && !info.Mode().IsRegular():
		return usage(fmt.Errorf("--%s %s names what is not a file: it was left as it is; name a file", p.flag, p.path))
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("looking at %s: %w", p.path, err)
	}
	for _, card := range p.cards {
		switch {
		case sameFile(card, p.path):
			return usage(fmt.Errorf("--%s %s names the card that is verified: name another file, the card at hand is never written", p.flag, p.path))
		case isFolder(card) && within(card, p.path), drive.Holds(card, p.path):
			return usage(fmt.Errorf("--%s %s stands on the card that is verified: name a file elsewhere, the card at hand is never written", p.flag, p.path))
		}
	}
	if isShops(p.shop, p.path) {
		return usage(fmt.Errorf("--%s %s names what is a file of the shop: it was left as it is; choose another name", p.flag, p.path))
	}
	return nil
}

// write puts the page in its place, whole or not at all. A link keeps leading
// where it leads.
func (p page) write(content []byte) error { return p.put(bytes.NewReader(content)) }

// put is write for what isn't held in memory.
func (p page) put(content io.Reader) error {
	if err := p.check(); err != nil {
		return err
	}
	path := p.path
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	return place.Write(path, content)
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir() && !drive.IsName(path)
}

// sameFile tells whether two names are of one file that is there.
func sameFile(a, b string) bool {
	one, err := os.Stat(a)
	if err != nil {
		return false
	}
	other, err := os.Stat(b)
	return err == nil && os.SameFile(one, other)
}

// samePlace tells whether two names lead to one file, there or not yet.
func samePlace(a, b string) bool {
	if drive.IsName(a) || drive.IsName(b) {
		return sameDrive(a, b)
	}
	one, err := realPath(a)
	if err != nil {
		return false // told when it is opened
	}
	other, err := realPath(b)
	return err == nil && one == other || sameFile(a, b)
}

// sameDrive tells whether two names are of one drive: its number, or the letter
// of a volume on it.
func sameDrive(a, b string) bool {
	one, err := drive.Whole(a)
	if err != nil {
		return false // told when it is opened
	}
	other, err := drive.Whole(b)
	return err == nil && one == other
}

// within tells whether a path leads into a folder, through links or not. The
// file itself need not be there yet.
func within(folder, path string) bool {
	root, err := realPath(folder)
	if err != nil {
		return false
	}
	path, err = realPath(path)
	if err != nil {
		return false
	}
	below, err := filepath.Rel(root, path)
	return err == nil && below != ".." && !strings.HasPrefix(below, ".."+string(filepath.Separator))
}

// realPath is an absolute path without links; of a file that isn't there, that
// of its folder with its name.
func realPath(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	real, err := filepath.EvalSymlinks(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return real, err
	}
	folder, err := filepath.EvalSymlinks(filepath.Dir(path))
	return filepath.Join(folder, filepath.Base(path)), err
}

// isShops tells whether a file that is there is one that the shop keeps: what
// it wrote down, its packages, its ledger, its key. No page and no image replaces one.
func isShops(shop *manifest.Shop, path string) bool {
	if shop == nil {
		return false
	}
	if _, err := os.Stat(path); err != nil {
		return false
	}
	files := []string{filepath.Join(shop.Dir, manifest.ShopFile)}
	if !store.IsPostgres(shop.Ledger) {
		file := ledgerAddress(shop)
		files = append(files, file, file+"-wal", file+"-shm") // SQLite's own, https://sqlite.org/tempfiles.html
	}
	if key, err := keys.Place(); err == nil {
		files = append(files, key)
	}
	for _, file := range files {
		if sameFile(file, path) {
			return true
		}
	}
	for _, folder := range []string{
		filepath.Join(shop.Dir, manifest.CatalogueFolder), filepath.Join(shop.Dir, manifest.VesselsFolder),
		media.PackagesOf(shop).Dir,
	} {
		if within(folder, path) {
			return true
		}
	}
	return false
}
