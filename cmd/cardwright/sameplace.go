package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"cardwright/media/drive"
)

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
