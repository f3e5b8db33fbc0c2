package drive

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Drive is the drive of a card in a reader.
type Drive struct {
	*macDrive
}

// OpenDrive opens a whole drive, such as /dev/disk4. For writing, every volume of
// it is unmounted and the drive is held exclusively; one in use is refused with
// ErrBusy.
func OpenDrive(path string, forWriting bool) (*Drive, error) {
	d, err := openMac(macCalls{}, path, forWriting)
	if err != nil {
		return nil, err
	}
	return &Drive{d}, nil
}

// IsName is false: on macOS a drive is named by its file in /dev.
func IsName(string) bool { return false }

// Whole is the name of the drive that a path names, as readers lists it.
func Whole(path string) (string, error) {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return "", err
	}
	return macWhole(real)
}

// Holds reports whether a file, or the folder that it would be made in, is on a
// drive. What can't be looked at isn't.
func Holds(drive, path string) bool {
	whole, err := Whole(drive)
	if err != nil {
		return false
	}
	var st unix.Statfs_t
	if unix.Statfs(path, &st) != nil && unix.Statfs(filepath.Dir(path), &st) != nil {
		return false
	}
	return macStandsOn(unix.ByteSliceToString(st.Mntfromname[:]), whole)
}

// macCalls are macOS' own calls.
type macCalls struct{}

// unmountTimeout is how long diskutil may take: it asks every program that uses a
// volume to let go of it.
const unmountTimeout = 60 * time.Second

// maxComplaint is how much of the output of diskutil is kept, in bytes.
const maxComplaint = 500

func (macCalls) unmount(disk string) error {
	ctx, cancel := context.WithTimeout(context.Background(), unmountTimeout)
	defer cancel()
	out, err := exec.CommandContext(ctx, "/usr/sbin/diskutil", "unmountDisk", disk).CombinedOutput()
	if err != nil {
		said := bytes.TrimSpace(out[:min(len(out), maxComplaint)])
		return fmt.Errorf("diskutil: %w: %s", err, strings.Join(strings.Fields(strings.ToValidUTF8(string(said), "")), " "))
	}
	return nil
}

// exclusively keeps other writers off for as long as the drive is open (open(2)),
// and doesn't wait for the drive's door.
const exclusively = unix.O_EXLOCK | unix.O_NONBLOCK

func (macCalls) open(path string, writing bool) (macFile, error) {
	how := os.O_RDONLY
	if writing {
		how = os.O_RDWR | exclusively
	}
	fd, err := unix.Open(path, how|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	return &rawDisk{os.NewFile(uintptr(fd), path), fd}, nil
}

// rawDisk is an open /dev/rdiskN.
type rawDisk struct {
	*os.File
	fd int
}

func (d *rawDisk) Size() (int64, error) {
	count, err := unix.IoctlGetInt(d.fd, dkBlockCount)
	if err != nil {
		return 0, err
	}
	sector, err := d.Sector()
	return int64(count) * int64(sector), err
}

func (d *rawDisk) Sector() (int, error) { return unix.IoctlGetInt(d.fd, dkBlockSize) }

func (d *rawDisk) Writable() (bool, error) {
	can, err := unix.IoctlGetInt(d.fd, dkWritable)
	return can != 0, err
}

// Flush has the drive empty its write cache. A reader that doesn't know the command
// has no cache.
func (d *rawDisk) Flush() error {
	err := unix.IoctlSetInt(d.fd, dkFlush, 0)
	if errors.Is(err, unix.ENOTTY) || errors.Is(err, unix.ENOTSUP) {
		return nil
	}
	return err
}

func (d *rawDisk) Eject() error { return unix.IoctlSetInt(d.fd, dkEject, 0) }
