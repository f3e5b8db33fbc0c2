package drive

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// foreign is what can't be followed on a system, since it is another's. The
// tools are those of util-linux, of macOS (diskutil(8)) and of Windows.
var foreign = map[string][]string{
	"linux":   {"diskutil", "System Settings", "administrator", "PowerShell", "right-click", `\\.\`},
	"darwin":  {"lsblk", "umount ", "/dev/sd", "loop drive", "group for disks", "administrator", "PowerShell", "right-click", `\\.\`},
	"windows": {"lsblk", "umount", "/dev/", "loop drive", "sudo", "root", "chmod", "group for disks", "diskutil", "System Settings"},
}

// What a drive or an image is told to be wrong ends in advice that can be
// followed on the system it is told on.
func TestAdviceCanBeFollowed(t *testing.T) {
	for name, words := range foreign {
		for err := range advice {
			for _, k := range []kind{drive, image} {
				said := system{name: name}.advice(err, k)
				assert.NotEmpty(t, said, "%s: %v", name, err)
				for _, word := range words {
					assert.NotContains(t, strings.ToLower(said), strings.ToLower(word), "%s: %v", name, err)
				}
			}
		}
	}
}

// Where one system's advice is its own, it is about an error that has any.
func TestOwnAdviceIsAboutKnownErrors(t *testing.T) {
	for name, own := range adviceOn {
		for err := range own {
			assert.Contains(t, advice, err, name)
		}
	}
}
