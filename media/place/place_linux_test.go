package place

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Names of devices on any system, and files that only look like one.
func TestNamesOfDevices(t *testing.T) {
	for _, name := range []string{
		"E:", `E:\`, "e:/", `\\.\PhysicalDrive9`, `\\.\physicaldrive0`, `\.PhysicalDrive9`, "PHYSICALDRIVE2", "//./PhysicalDrive2",
		`\\?\PhysicalDrive2`, `\\.\E:`, `\\?\Volume{4c1b02c1-d990-11dc-99ae-806e6f6e6963}\`, `\\.\Harddisk1`, `\\.\CdRom0`,
		"NUL", "nul.img", "cards/con.txt", `cards\COM1`, "lpt9", "/dev/disk9", "/dev/rdisk4s1", "/dev/sdq", "/dev/mmcblk0",
	} {
		assert.NotEmpty(t, deviceName(name), name)
	}
	for _, name := range []string{
		"k.img", "E.img", "e/k.img", "C:/cards/k.img", `C:\cards\k.img`, `\\server\cards\k.img`, `\\?\C:\cards\k.img`,
		"physicaldrive.img", "console.txt", "com10", "nullarbor.img", "/dev/shm/ok.img", "sdq", "disk9.img", ".", "", "..", "/",
	} {
		assert.Empty(t, deviceName(name), name)
	}
}

// In a container /dev is a plain file system in memory, with the devices in it.
func TestDevicesAreKnownByTheirMounts(t *testing.T) {
	const mounts = `22 1 0:20 / /dev rw - tmpfs tmpfs rw
23 22 0:21 / /dev/shm rw - tmpfs tmpfs rw
24 1 0:22 /block /mnt/a\040card rw,relatime shared:2 - devtmpfs udev rw
25 1 0:23 / /run rw - tmpfs tmpfs rw
`
	null := func(folder string) bool { return folder == "/dev" }
	for minor, want := range map[uint32]bool{20: true, 21: false, 22: true, 23: false, 24: false} {
		assert.Equal(t, want, devicesIn(strings.NewReader(mounts), 0, minor, null), minor)
	}
	assert.False(t, devicesIn(strings.NewReader("\n - \nx y z\n"), 0, 0, null))
	assert.Equal(t, "a card", unescaped(`a\040card`))
}

func TestWhereFilesMayBeMade(t *testing.T) {
	dir := t.TempDir()
	link := func(to string) string {
		path := filepath.Join(dir, strings.ReplaceAll(to, "/", "_"))
		require.NoError(t, os.Symlink(to, path))
		return path
	}
	for _, path := range []string{
		"/dev/sdq", "/dev/new/sdq", "/dev/pts/9", "/proc/x", "/proc/self/x", "/sys/x", "/sys/fs/x",
		link("/dev/sdq"), link("/proc/x"), filepath.Join(link("/dev"), "sdq"), link("/dev/../sys/x"),
	} {
		var no *NoPlace
		assert.ErrorAs(t, MayMake(path), &no, path)
	}
	for _, path := range []string{"/dev/shm/ok.img", filepath.Join(dir, "new"), filepath.Join(dir, "none", "new"), "/proc/self/cwd/new", link("nowhere"), link("/dev/shm/ok.img")} {
		assert.NoError(t, MayMake(path), path)
	}
	require.NoError(t, os.Symlink("round", filepath.Join(dir, "round")))
	assert.NoError(t, MayMake(filepath.Join(dir, "round")), "told by what opens it")
}
