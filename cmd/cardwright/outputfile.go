package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/keys"
	"cardwright/media/place"
	"cardwright/verify/ledger/store"
)

// page is a file asked for in addition to an answer.
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
		return usage(fmt.Errorf("--%s %s is not a file: it was left as it is; name a file", p.flag, p.path))
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("looking at %s: %w", p.path, err)
	}
	for _, card := range p.cards {
		switch {
		case drive.SameFile(card, p.path):
			return usage(fmt.Errorf("--%s %s is the card that is verified, which is never written to: name another file", p.flag, p.path))
		case isFolder(card) && drive.Within(card, p.path), drive.Holds(card, p.path):
			return usage(fmt.Errorf("--%s %s is on the card that is verified, which is never written to: name a file elsewhere", p.flag, p.path))
		}
	}
	if isShops(p.shop, p.path) {
		return usage(fmt.Errorf("--%s %s is a file of the shop: it was left as it is; choose another name", p.flag, p.path))
	}
	return nil
}

// write puts the page in its place, completely or not at all. A link keeps leading
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

// isShops reports whether a file that is there is one that the shop keeps: what
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
		if drive.SameFile(file, path) {
			return true
		}
	}
	for _, folder := range []string{
		filepath.Join(shop.Dir, manifest.CatalogueFolder), filepath.Join(shop.Dir, manifest.VesselsFolder),
		media.PackagesOf(shop).Dir,
	} {
		if drive.Within(folder, path) {
			return true
		}
	}
	return false
}
