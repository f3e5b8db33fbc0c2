//go:build !unix

package intake

import "os"

// syncFolder does nothing where folders can't be opened like files.
func syncFolder(string) error { return nil }

// lockFolder does nothing: Windows has no locks on folders, and what is written
// is compared with what was read.
func lockFolder(*os.File, bool) bool { return true }
