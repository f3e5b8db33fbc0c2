package drive

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// SameFile reports whether two names are of one file that is there.
func SameFile(a, b string) bool {
	one, err := os.Stat(a)
	if err != nil {
		return false
	}
	other, err := os.Stat(b)
	return err == nil && os.SameFile(one, other)
}

// SamePlace reports whether two names lead to one file or one drive, there or not yet.
func SamePlace(a, b string) bool {
	if IsName(a) || IsName(b) {
		return sameDrive(a, b)
	}
	one, err := realPath(a)
	if err != nil {
		return false // reported when it is opened
	}
	other, err := realPath(b)
	return err == nil && one == other || SameFile(a, b)
}

// sameDrive reports whether two names are of one drive: its number, or the letter
// of a volume on it.
func sameDrive(a, b string) bool {
	one, err := Whole(a)
	if err != nil {
		return false // reported when it is opened
	}
	other, err := Whole(b)
	return err == nil && one == other
}

// Within reports whether a path leads into a folder, through links or not. The
// file itself need not be there yet.
func Within(folder, path string) bool {
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
