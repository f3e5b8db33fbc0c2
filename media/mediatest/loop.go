package mediatest

import (
	"os"
	"path/filepath"
)

// LoopFile is the backing file of a loop drive of Linux, as sysfs has
// it (/sys/block/loopN/loop/backing_file); "" where it has none. A
// test gives back its drive only while that is the test's own file: one
// that was given back before may be another test's by then.
func LoopFile(drive string) string {
	file, _ := os.ReadFile(filepath.Join("/sys/block", filepath.Base(drive), "loop/backing_file")) // none: no loop drive
	return string(file)
}
