package intake

import (
	"os"

	"golang.org/x/sys/unix"
)

// dropCache asks the system to forget what it caches of a file, and to read ahead.
// If it doesn't, the file is read from memory: the answer then proves less, and is
// still right.
func dropCache(f *os.File) {
	_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED)
	_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_SEQUENTIAL)
}
