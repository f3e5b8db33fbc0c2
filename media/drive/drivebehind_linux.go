package drive

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// Holds reports whether a file, or the folder that it would be made in, is on a file
// system mounted from a drive or from a part of it. What can't be looked at isn't.
func Holds(drive, path string) bool {
	var whole, file unix.Stat_t
	if err := unix.Stat(drive, &whole); err != nil || whole.Mode&unix.S_IFMT != unix.S_IFBLK {
		return false
	}
	if unix.Stat(path, &file) != nil && unix.Stat(filepath.Dir(path), &file) != nil {
		return false
	}
	if whole.Rdev == file.Dev {
		return true
	}
	// A part's folder is in its drive's, such as …/block/sdb/sdb1.
	of, err1 := deviceFolder(uint64(whole.Rdev))
	in, err2 := deviceFolder(uint64(file.Dev))
	return err1 == nil && err2 == nil && strings.HasPrefix(in, of+string(os.PathSeparator))
}

func deviceFolder(device uint64) (string, error) {
	return filepath.EvalSymlinks(fmt.Sprintf("/sys/dev/block/%d:%d", unix.Major(device), unix.Minor(device)))
}
