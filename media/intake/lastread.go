package intake

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/durable"
	"cardwright/media"
)

// maxReadings bounds what is kept of readings, in bytes.
const maxReadings = 32 << 20

// Readings is when this computer last read the package files of a shop. It is only
// shown, and proves nothing: bytes rot without leaving a trace.
type Readings struct {
	path string // "": nothing is kept
	Read map[string]Reading
}

// Reading is one file that was read.
type Reading struct {
	Wrong    bool          `json:"wrong,omitempty"` // it wasn't as the catalogue says, or couldn't be read in full
	At       time.Time     `json:"at"`
	SHA256   digest.SHA256 `json:"sha256"`
	Size     int64         `json:"size"`
	Modified time.Time     `json:"modified"`
}

// readingsFile is how they are kept.
type readingsFile struct {
	Format int                `json:"format"`
	Folder string             `json:"folder"`
	Read   map[string]Reading `json:"read"` // by the path below the package folder
}

const readingsFormat = 1

// ReadingsOf loads the readings of a shop's packages from the user's cache folder.
// What can't be loaded, or lies in the future, counts as never read.
func ReadingsOf(shop *manifest.Shop, cache string, now time.Time) *Readings {
	r := &Readings{Read: map[string]Reading{}}
	if !filepath.IsAbs(cache) {
		return r
	}
	folder := absolute(media.PackagesOf(shop).Dir)
	sum := sha256.Sum256([]byte(folder))
	r.path = filepath.Join(cache, "cardwright", "read-"+hex.EncodeToString(sum[:8])+".json")
	data, err := readSmall(r.path, maxReadings)
	if err != nil {
		return r
	}
	var kept readingsFile
	if json.Unmarshal(data, &kept) != nil || kept.Format != readingsFormat || kept.Folder != folder {
		return r
	}
	for path, one := range kept.Read {
		if !one.At.After(now) {
			r.Read[path] = one
		}
	}
	return r
}

// Tell notes on each file when it was last read, and whether its size or time has
// changed since.
func (r *Readings) Tell(inv Inventory) {
	for _, c := range inv.Files {
		one, ok := r.Read[c.Path]
		if !ok || one.SHA256 != c.SHA256 || c.State != Present && c.State != Unused {
			continue
		}
		c.LastRead, c.LastWrong = one.At, one.Wrong
		info, err := os.Stat(c.path)
		c.Changed = err != nil || info.Size() != one.Size || !info.ModTime().Equal(one.Modified)
	}
}

// Note takes over what Check read, which began at a given time. A file changed
// after that may not be the one that was read, so it is left out.
func (r *Readings) Note(inv Inventory, began time.Time) {
	for _, c := range inv.Files {
		if c.SHA256 == "" || !c.wasRead {
			continue
		}
		delete(r.Read, c.Path)
		info, err := os.Stat(c.path)
		if err != nil || !info.ModTime().Before(began) {
			continue
		}
		c.LastRead, c.LastWrong, c.Changed = began, c.State != Whole && c.State != Unused, false
		r.Read[c.Path] = Reading{c.LastWrong, began.UTC().Truncate(time.Second), c.SHA256, info.Size(), info.ModTime()}
	}
}

// Save keeps the readings; without a cache folder it does nothing.
func (r *Readings) Save(shop *manifest.Shop) error {
	if r.path == "" {
		return nil
	}
	text, err := json.Marshal(readingsFile{readingsFormat, absolute(media.PackagesOf(shop).Dir), r.Read})
	if err == nil && len(text) > maxReadings {
		err = fmt.Errorf("more than %d bytes", maxReadings)
	}
	if err == nil {
		err = durable.MakeFolders(filepath.Dir(r.path), 0o700)
	}
	if info, e := os.Lstat(r.path); err == nil && e == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s is not a plain file", r.path)
	} else if err == nil && e != nil && !errors.Is(e, fs.ErrNotExist) {
		err = e
	}
	if err == nil {
		err = durable.Write(r.path, 0o600, bytes.NewReader(text))
	}
	if err != nil {
		return fmt.Errorf("noting when packages were last read: %w", err)
	}
	return nil
}
