//go:build unix

package media

import "os"

// syncFolder makes the names in a folder durable.
func syncFolder(f *os.File) error { return f.Sync() }
