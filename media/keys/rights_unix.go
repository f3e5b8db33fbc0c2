//go:build unix

package keys

import (
	"fmt"
	"io/fs"
	"os"
)

// ownerOnly has nothing to do: the file was made so.
func ownerOnly(*os.File) error { return nil }

// readByOthers says how others than its owner may read a file, and what to do;
// "" where they may not.
func readByOthers(_ string, info fs.FileInfo) string {
	mode := info.Mode().Perm()
	if mode&0o077 == 0 {
		return ""
	}
	return fmt.Sprintf("rights %04o, expected 0600): chmod 600 it", mode)
}
