package edit

import (
	"errors"

	"golang.org/x/sys/unix"
)

// swap exchanges two files in one step; false where the file system can't.
func swap(a, b string) (bool, error) {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EOPNOTSUPP) {
		return false, nil
	}
	return err == nil, err
}
