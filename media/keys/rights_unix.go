//go:build unix

package keys

import (
	"fmt"
	"os"

	"cardwright/manifest/durable"
)

// createOwn makes the unfinished file of a path, which nobody but the user may
// open.
func createOwn(path string) (*os.File, error) { return durable.Create(path, 0o600) }

// readByOthers says by which rights others may open a file; "" where they may
// not.
func readByOthers(f *os.File) (string, error) {
	info, err := f.Stat()
	if err != nil || info.Mode().Perm()&0o077 == 0 {
		return "", err
	}
	return fmt.Sprintf("permissions %04o, expected 0600", info.Mode().Perm()), nil
}

// keepOthersOut says how.
const keepOthersOut = "run chmod 600 on it"
