package drive

import (
	"errors"
	"fmt"
	"strings"
	"syscall"
)

// mac is what macOS is asked for a drive. The order of asking is in this file, so
// that it can be tested.
type mac interface {
	unmount(disk string) error // every volume of /dev/diskN
	open(raw string, writing bool) (macFile, error)
}

// macFile is an open raw drive, /dev/rdiskN; for writing it is held exclusively.
type macFile interface {
	rawFile
	Sector() (int, error)
	Writable() (bool, error)
	Eject() error
}

// macDrive is a card's drive on macOS.
type macDrive struct {
	*raw
	disk macFile
}

// macID is the identifier in /dev/disk4 or /dev/rdisk4, and whether it names a
// whole drive.
func macID(path string) (id string, whole, ok bool) {
	rest, ok := strings.CutPrefix(path, "/dev/")
	if !ok {
		return "", false, false
	}
	rest = strings.TrimPrefix(rest, "r")
	numbers, ok := strings.CutPrefix(rest, "disk")
	if !ok || numbers == "" || len(numbers) > 12 {
		return "", false, false
	}
	drive, parts, part := strings.Cut(numbers, "s")
	if !isDigits(drive) || part && !isDigits(strings.ReplaceAll(parts, "s", "")) {
		return "", false, false
	}
	return rest, !part, true
}

func isDigits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// macWhole is /dev/diskN, the name by which diskutil lists a whole drive.
func macWhole(path string) (string, error) {
	doing := "looking for drive " + path
	id, whole, ok := macID(path)
	switch {
	case !ok:
		return "", fmt.Errorf("%s: %w: a card's drive has a name like /dev/disk4", doing, ErrNotDrive)
	case !whole:
		return "", fmt.Errorf("%s: %w: name the whole drive, not a part of it", doing, ErrPartition)
	}
	return "/dev/" + id, nil
}

// macStandsOn reports whether a mounted device, by its name from statfs, is a whole
// drive or a part of it.
func macStandsOn(mounted, whole string) bool {
	return mounted == whole || strings.HasPrefix(mounted, whole+"s")
}

// openMac opens a drive: for reading as it is, mounted or not; for writing once
// every volume of it is unmounted, exclusively.
func openMac(sys mac, path string, forWriting bool) (*macDrive, error) {
	whole, err := macWhole(path)
	if err != nil {
		return nil, err
	}
	doing := "opening drive " + path
	if forWriting {
		doing += " for writing"
		if err := sys.unmount(whole); err != nil {
			return nil, faultNamedOn(macSystem, ErrBusy, drive, doing, err)
		}
	}
	f, err := sys.open("/dev/r"+strings.TrimPrefix(whole, "/dev/"), forWriting)
	if err != nil {
		return nil, faultOn(macSystem, drive, doing, err)
	}
	d := &macDrive{disk: f}
	if err := d.measure(path, doing, forWriting); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return d, nil
}

func (d *macDrive) measure(path, doing string, forWriting bool) error {
	if forWriting {
		if can, err := d.disk.Writable(); err != nil {
			return faultOn(macSystem, drive, doing, err)
		} else if !can {
			return faultNamedOn(macSystem, ErrLocked, drive, doing, nil)
		}
	}
	size, err := d.disk.Size()
	if err != nil {
		return faultOn(macSystem, drive, doing, err)
	}
	sector, err := d.disk.Sector()
	if err != nil {
		return faultOn(macSystem, drive, doing, err)
	}
	d.raw, err = newRaw(macSystem, path, d.disk, size, sector, forWriting)
	return err
}

// TellSystem has nothing to do: macOS reads a drive's partition table when its last
// writer closes it.
func (d *macDrive) TellSystem() error { return nil }

// Eject has the reader let go of its card before macOS can mount it again and write
// its own folders onto it; Close follows. It fails with ErrStays where the reader
// can't do that.
func (d *macDrive) Eject() error {
	if err := d.disk.Eject(); err != nil {
		return faultNamedOn(macSystem, ErrStays, drive, "ejecting "+d.path, err)
	}
	return nil
}

// Close gives the drive back. What was not synced may be lost.
func (d *macDrive) Close() error { return d.closeFile() }

// ioctl is the number of a request as sys/ioccom.h forms it: direction, bytes of
// its argument, group and number.
func ioctl(direction, bytes uint, group byte, number uint) uint {
	return direction | bytes<<16 | uint(group)<<8 | number
}

const (
	ioctlNone = 0x20000000 // IOC_VOID
	ioctlOut  = 0x40000000 // IOC_OUT
)

// The requests of sys/disk.h that are used here.
var (
	dkBlockSize  = ioctl(ioctlOut, 4, 'd', 24)  // DKIOCGETBLOCKSIZE, uint32
	dkBlockCount = ioctl(ioctlOut, 8, 'd', 25)  // DKIOCGETBLOCKCOUNT, uint64
	dkWritable   = ioctl(ioctlOut, 4, 'd', 29)  // DKIOCISWRITABLE, uint32
	dkFlush      = ioctl(ioctlNone, 0, 'd', 22) // DKIOCSYNCHRONIZECACHE
	dkEject      = ioctl(ioctlNone, 0, 'd', 21) // DKIOCEJECT
)

// darwinErrors are the error numbers of macOS that mean something for a card
// (sys/errno.h).
var darwinErrors = []systemError{
	{syscall.Errno(30), ErrLocked},   // EROFS
	{syscall.Errno(16), ErrBusy},     // EBUSY
	{syscall.Errno(35), ErrBusy},     // EWOULDBLOCK: a lock that another run holds
	{syscall.Errno(28), ErrFull},     // ENOSPC
	{syscall.Errno(69), ErrFull},     // EDQUOT
	{syscall.Errno(27), errTooLong},  // EFBIG
	{syscall.Errno(5), ErrNoAnswer},  // EIO
	{syscall.Errno(19), ErrNoAnswer}, // ENODEV
	{syscall.Errno(6), ErrNoAnswer},  // ENXIO
	{syscall.Errno(60), ErrNoAnswer}, // ETIMEDOUT
	{syscall.Errno(1), ErrDenied},    // EPERM
	{syscall.Errno(13), ErrDenied},   // EACCES
	{syscall.Errno(2), ErrMissing},   // ENOENT
}

// macSystem is macOS, for the words of errors.
var macSystem = system{"darwin", darwinErrors}
