package media

import "os"

// syncFolder does nothing: Windows offers no such call for folders, and
// writes names through when the files are closed.
func syncFolder(*os.File) error { return nil }

// lockFolder does nothing: Windows has no locks on folders.
func lockFolder(*os.File) error { return nil }
