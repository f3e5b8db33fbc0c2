// Package durable puts files in their places completely or not at all, and so that a power
// cut at any moment leaves the old file or the new one: a file is written next to its
// place under an unfinished name, synced and renamed, and the folder is synced.
//
// Where files may be made at all is media/place's business.
package durable

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"cardwright/manifest/pattern"
)

// Unfinished is what a file is called while it is made, next to its own name and
// named after it, so that a person can tell what it is and a later run find it:
// .NAME.unfinished-1a2b3c4d. Each call gives another.
func Unfinished(path string) string {
	var random [4]byte
	_, _ = rand.Read(random[:]) // never fails, by its documentation
	return filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".unfinished-"+hex.EncodeToString(random[:]))
}

// unfinished has the name of the finished file, and what a database puts behind
// the names of its own files (https://sqlite.org/tempfiles.html).
var unfinished = pattern.Of(`^\.(.+)\.unfinished-[0-9a-f]{8}(-wal|-shm|-journal)?$`)

// Finished is the name of the finished file of which a name is the unfinished
// one's.
func Finished(name string) (finished string, ok bool) {
	m := unfinished.Regexp().FindStringSubmatch(name)
	if m == nil {
		return "", false
	}
	return m[1], true
}

// Write puts a file in its place. A file that is there already is replaced and its
// rights are kept; mode is for a new one, before the umask. A link is replaced,
// not followed.
func Write(path string, mode fs.FileMode, content io.Reader) error {
	return write(path, mode, content, Rename)
}

// WriteNew is Write where there is no file yet; otherwise the error wraps
// fs.ErrExist, and the file there stays as it is.
func WriteNew(path string, mode fs.FileMode, content io.Reader) error {
	return write(path, mode, content, RenameNew)
}

func write(path string, mode fs.FileMode, content io.Reader, rename func(temp, path string) error) error {
	temp, err := Beside(path, mode, content)
	if err != nil {
		return err
	}
	if err := rename(temp, path); err != nil {
		return errors.Join(err, gone(os.Remove(temp)))
	}
	return nil
}

// Beside writes the unfinished file of a path and syncs it; Rename or RenameNew
// puts it in its place. On an error nothing is left of it.
func Beside(path string, mode fs.FileMode, content io.Reader) (temp string, err error) {
	f, err := Create(path, mode)
	if err != nil {
		return "", err
	}
	err = keepRights(f, path)
	if err == nil {
		_, err = io.Copy(f, content)
	}
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return "", errors.Join(err, gone(os.Remove(f.Name())))
	}
	return f.Name(), nil
}

// Create makes the unfinished file of a path, locked for as long as it is open,
// so that no other run takes it for one that was left.
func Create(path string, mode fs.FileMode) (*os.File, error) {
	f, err := os.OpenFile(Unfinished(path), os.O_RDWR|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return nil, err
	}
	if err := Lock(f); err != nil {
		return nil, errors.Join(err, f.Close(), gone(os.Remove(f.Name())))
	}
	return f, nil
}

// keepRights gives an unfinished file the rights of the one that it replaces.
func keepRights(f *os.File, path string) error {
	info, err := os.Lstat(path)
	if err != nil || !info.Mode().IsRegular() {
		return nil // a new file
	}
	err = f.Chmod(info.Mode().Perm())
	if errors.Is(err, errors.ErrUnsupported) {
		return nil
	}
	return err
}

// Rename gives a synced file its name, in place of what had it, and makes that
// last. Both names are in one file system.
func Rename(temp, path string) error {
	if err := rename(temp, path); err != nil {
		return err
	}
	return syncBoth(temp, path)
}

// RenameNew is Rename where nothing may have the name yet; otherwise the error
// wraps fs.ErrExist, and both files stay.
func RenameNew(temp, path string) error {
	if err := renameNew(temp, path); err != nil {
		return err
	}
	return syncBoth(temp, path)
}

func syncBoth(temp, path string) error {
	from, to := filepath.Dir(temp), filepath.Dir(path)
	err := SyncFolder(to)
	if from != to {
		err = errors.Join(err, gone(SyncFolder(from)))
	}
	return err
}

// SyncFile makes the bytes last of a file that another program wrote.
func SyncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// SyncFolder makes the names in a folder last.
func SyncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("syncing folder: %w", err)
	}
	return errors.Join(SyncOpenFolder(folder), folder.Close())
}

// MakeFolders makes a folder, and those above it that aren't there, and makes
// their names last.
func MakeFolders(path string, mode fs.FileMode) error {
	var fresh []string
	for at := path; ; at = filepath.Dir(at) {
		if _, err := os.Stat(at); !errors.Is(err, fs.ErrNotExist) || at == filepath.Dir(at) {
			break
		}
		fresh = append(fresh, at)
	}
	if err := os.MkdirAll(path, mode); err != nil {
		return err
	}
	for _, folder := range fresh {
		if err := SyncFolder(filepath.Dir(folder)); err != nil {
			return err
		}
	}
	return nil
}

// gone is an error of removing something, nil where it is gone already.
func gone(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
