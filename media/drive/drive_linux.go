package drive

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// Drive is the block device of a card in a reader.
type Drive struct {
	*store
}

// OpenDrive opens a whole drive, such as /dev/sdb or a link to it. For writing it
// is held exclusively: a drive of which any part is mounted, or that anything else
// holds, is refused with ErrBusy. For reading it is opened read-only, mounted or
// not.
func OpenDrive(path string, forWriting bool) (*Drive, error) {
	doing := "opening drive " + path
	if forWriting {
		doing += " for writing"
	}
	f, err := openWhole(doing, path, forWriting)
	if err != nil {
		return nil, err
	}
	d := &Drive{&store{path: path, kind: drive, writing: forWriting, plain: f}}
	if err := d.measure(doing); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	d.openDirect()
	return d, nil
}

// Close gives the drive back. What was not synced may be lost.
func (d *Drive) Close() error { return d.closeFiles() }

// SectorBytes is the drive's logical sector, 512 on nearly every card.
func (d *Drive) SectorBytes() int { return int(d.sector) }

func openWhole(doing, path string, forWriting bool) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, faultOf(drive, doing, err)
	}
	if err := mustBeWholeDrive(doing, info); err != nil {
		return nil, err
	}
	how := os.O_RDONLY
	if forWriting {
		how = os.O_RDWR | os.O_EXCL
		// The kernel lets some locked drives be opened and refuses the writes.
		if isLocked(info) {
			return nil, faultOf(drive, doing, unix.EROFS)
		}
	}
	f, err := os.OpenFile(path, how, 0)
	if err != nil {
		return nil, faultOf(drive, doing, err)
	}
	return f, nil
}

func isLocked(info fs.FileInfo) bool {
	text, err := os.ReadFile(sysOf(info, "ro"))
	return err == nil && strings.TrimSpace(string(text)) == "1"
}

func mustBeWholeDrive(doing string, info fs.FileInfo) error {
	if mode := info.Mode(); mode&fs.ModeDevice == 0 || mode&fs.ModeCharDevice != 0 {
		return fmt.Errorf("%s: %w: a card's drive is a block device such as /dev/sdb or /dev/mmcblk0", doing, ErrNotDrive)
	}
	if _, err := os.Stat(sysOf(info, "partition")); err == nil {
		return fmt.Errorf("%s: %w: name the whole drive, not a part of it", doing, ErrPartition)
	}
	return nil
}

// sysOf is a file in the kernel's folder of a block device.
func sysOf(info fs.FileInfo, name string) string {
	number := uint64(info.Sys().(*syscall.Stat_t).Rdev)
	return fmt.Sprintf("/sys/dev/block/%d:%d/%s", unix.Major(number), unix.Minor(number), name)
}

func (d *Drive) measure(doing string) error {
	size, err := sizeOf(d.plain)
	if err != nil {
		return d.fault(doing, err)
	}
	if size == 0 {
		return fmt.Errorf("%s: %w: %s", doing, ErrNoCard, advice[ErrNoCard][drive])
	}
	sector, err := unix.IoctlGetInt(int(d.plain.Fd()), unix.BLKSSZGET)
	if err != nil {
		return d.fault(doing, err)
	}
	if sector < sectorSize || sector > maxAlign || sector&(sector-1) != 0 {
		return fmt.Errorf("%s: its sectors have %d bytes, expected a power of two from %d to %d", doing, sector, sectorSize, maxAlign)
	}
	d.bytes, d.sector = size, int64(sector)
	return nil
}

// gone reports that the card was pulled out. The kernel removes a drive that was
// unplugged, or shows it as empty; a reader without its card refuses to be opened.
func (s *store) gone() bool {
	if size, err := sizeOf(s.plain); err == nil && size == 0 {
		return true
	}
	info, err := s.plain.Stat()
	if err != nil {
		return false
	}
	if _, err := os.Stat(sysOf(info, "")); errors.Is(err, fs.ErrNotExist) {
		return true
	}
	again, err := os.Open(s.path)
	if err != nil {
		return nameOf(bareError(err)) == ErrNoCard
	}
	_ = again.Close() // nothing was read
	return false
}

// forgetDrive empties the block device's own cache, and asks for that of a loop
// drive's backing file to be dropped.
func (s *store) forgetDrive() error {
	err := unix.IoctlSetInt(int(s.plain.Fd()), unix.BLKFLSBUF, 0)
	// It takes more rights than reading does; direct reads don't need it.
	if err != nil && (s.direct == nil || !errors.Is(err, fs.ErrPermission)) {
		return err
	}
	s.forgetBacking()
	return nil
}

func (s *store) forgetBacking() {
	info, err := s.plain.Stat()
	if err != nil {
		return
	}
	name, err := os.ReadFile(sysOf(info, "loop/backing_file"))
	if err != nil {
		return // not a loop drive
	}
	backing := strings.TrimSuffix(string(name), "\n")
	if info, err := os.Stat(backing); err != nil || !info.Mode().IsRegular() {
		return
	}
	f, err := os.Open(filepath.Clean(backing))
	if err != nil {
		return
	}
	_, _ = dropCache(f) // best effort: the backing file is the medium
	_ = f.Close()
}
