package drive

import "path/filepath"

// IsName is false: on Linux a drive is named by its file in /dev.
func IsName(string) bool { return false }

// Whole is the name of the drive that a path names, as readers lists it.
func Whole(path string) (string, error) { return filepath.EvalSymlinks(path) }
