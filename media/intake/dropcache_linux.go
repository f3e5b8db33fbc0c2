package intake

import (
	"os"

	"golang.org/x/sys/unix"
)

// dropCache asks the system to drop what it holds in memory of a file, and to read
// ahead. What it won't drop is read from memory, which no harm but proof comes
// of.
func dropCache(f *os.File) {
	_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED)
	_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_SEQUENTIAL)
}
