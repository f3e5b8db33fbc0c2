package shopsync

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/manifest/pattern"
)

var folderID = pattern.Of(`^[0-9a-f]{32}$`)

// id is the name of a folder in syncs; "" where it has none yet.
func (f *folder) id() (string, error) {
	in, err := f.root.Open(ownFolder + "/id")
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer in.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(in, 64))
	if err != nil {
		return "", err
	}
	id := strings.TrimSpace(string(text))
	if !folderID.MatchString(id) {
		return "", fmt.Errorf("%s/%s/id isn't what cardwright wrote there: remove it, and sync as with a new folder", f.dir, ownFolder)
	}
	return id, nil
}

func (f *folder) giveID() (string, error) {
	var random [16]byte
	_, _ = rand.Read(random[:]) // never fails, by its documentation
	id := hex.EncodeToString(random[:])
	return id, f.write(ownFolder+"/id", []byte(id+"\n"))
}

// identify finds out which folder the other is, or names it.
func (j *job) identify() (err error) {
	if j.id, err = j.there.id(); err != nil {
		return err
	}
	if j.id == "" {
		if _, err := j.there.root.Lstat(manifest.ShopFile); err != nil && !j.o.New {
			return ErrNew
		}
		if j.id, err = j.there.giveID(); err != nil {
			return err
		}
	}
	if err := j.here.root.MkdirAll(ownFolder, 0o755); err != nil {
		return err
	}
	if j.lock, err = j.here.root.OpenFile(ownFolder+"/lock", os.O_CREATE|os.O_RDWR, 0o644); err != nil {
		return err
	}
	if err := durable.Lock(j.lock); err != nil {
		return fmt.Errorf("another sync of this shop is running: wait until it ends (%w)", err)
	}
	j.was, err = j.here.state(j.id)
	return err
}
