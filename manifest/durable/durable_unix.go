//go:build unix

package durable

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// Lock marks a file or folder as being written for as long as it is open; it
// fails where another run holds it.
func Lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.ENOLCK) || errors.Is(err, unix.EOPNOTSUPP) {
		return nil // a file system without locks: the random name must do
	}
	return err
}

// SyncOpenFolder is SyncFolder for a folder that is open.
func SyncOpenFolder(folder *os.File) error {
	err := folder.Sync()
	if errors.Is(err, unix.EINVAL) {
		return nil // some file systems have nothing to sync in a folder
	}
	return err
}

func rename(temp, path string) error { return os.Rename(temp, path) }

// renameNew links, since a link never replaces anything, and renames only where
// the file system has no links.
func renameNew(temp, path string) error {
	err := os.Link(temp, path)
	switch {
	case err == nil:
		return gone(os.Remove(temp))
	case errors.Is(err, fs.ErrExist):
		return err
	}
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return &os.LinkError{Op: "rename", Old: temp, New: path, Err: fs.ErrExist}
	}
	return os.Rename(temp, path)
}
