package drive

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The numbers are those of GetDriveTypeW (Microsoft's documentation): only a
// disk or a card of this computer proves what was read past the cache.
func TestWhatAKindOfDriveProves(t *testing.T) {
	for number, want := range map[uint32]fileSystem{
		0:  elsewhere, // DRIVE_UNKNOWN
		1:  elsewhere, // DRIVE_NO_ROOT_DIR
		2:  local,     // DRIVE_REMOVABLE
		3:  local,     // DRIVE_FIXED
		4:  elsewhere, // DRIVE_REMOTE
		5:  elsewhere, // DRIVE_CDROM
		6:  memory,    // DRIVE_RAMDISK
		99: elsewhere,
	} {
		assert.Equal(t, want, fileSystemOfType(number), number)
	}
}
