package drive

import (
	"errors"
	"fmt"
	"io"
	"syscall"
	"time"

	"cardwright/media/windisk"
)

// nt is what Windows is asked for a drive. The order of asking is in this file, so
// that it can be tested against a stand-in that refuses what Windows refuses.
type nt interface {
	// claim keeps other runs of this program off a drive until it is closed.
	claim(number int) (io.Closer, error)
	// open opens a drive or volume past every cache: for reading, for reading and
	// writing, or only to ask for its properties.
	open(path string, access ntAccess) (ntFile, error)
	// volumes are the names of all volumes, as \\?\Volume{…}\.
	volumes() ([]string, error)
	// places are the letters and folders at which a volume can be reached.
	places(volume string) []string
	pause(time.Duration)
}

type ntAccess int

const (
	accessNone ntAccess = iota
	accessRead
	accessWrite
)

// ntFile is an open drive or volume.
type ntFile interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
	Sync() error
	control(code uint32, in []byte, most int) ([]byte, error)
}

// ntDrive is a card's drive on Windows, and everything that keeps others off it.
type ntDrive struct {
	*raw
	nt      nt
	number  int
	writing bool
	disk    ntFile
	locked  []lockedVolume
	claims  []io.Closer
}

type lockedVolume struct {
	name string
	file ntFile
}

// ntNumber is the number of the drive that a path names, directly or by the letter
// of a volume on it.
func ntNumber(sys nt, path string) (int, error) {
	doing := "looking for drive " + path
	if number, ok := windisk.Number(path); ok {
		return number, nil
	}
	if _, ok := windisk.Letter(path); !ok {
		return 0, fmt.Errorf("%s: %w: a card's drive is named by its letter, such as E:, or as %s", doing, ErrNotDrive, windisk.Path(2))
	}
	extents, err := ntExtents(sys, path)
	if err != nil {
		return 0, faultOn(windowsSystem, drive, doing, err)
	}
	if len(extents) != 1 {
		return 0, fmt.Errorf("%s: %w: it covers %d parts of the system's drives, expected one", doing, ErrNotDrive, len(extents))
	}
	return extents[0].Drive, nil
}

// ntExtents are the parts of drives that a volume covers; for a reader without a
// card there are none.
func ntExtents(sys nt, volume string) ([]windisk.Extent, error) {
	v, err := sys.open(windisk.VolumePath(volume), accessNone)
	if err != nil {
		return nil, err
	}
	defer v.Close()
	answer, err := v.control(windisk.VolumeExtents, nil, windisk.MaxAnswer)
	if err != nil {
		return nil, err
	}
	return windisk.ParseExtents(answer)
}

// openNT opens a drive: for reading as it is, mounted or not; for writing after all
// guards.
func openNT(sys nt, path string, forWriting bool) (*ntDrive, error) {
	number, err := ntNumber(sys, path)
	if err != nil {
		return nil, err
	}
	d := &ntDrive{nt: sys, number: number, writing: forWriting}
	steps := []guard{{"open", openDisk}, {"measure", measureDisk}}
	if forWriting {
		steps = guards
	}
	doing := "opening drive " + path
	if forWriting {
		doing += " for writing"
	}
	for _, step := range steps {
		if err := step.do(d, path, doing); err != nil {
			return nil, errors.Join(err, d.Close())
		}
	}
	return d, nil
}

// guard is one step before the first byte is written to a drive.
type guard struct {
	name string
	do   func(d *ntDrive, path, doing string) error
}

// guards are the steps in their order. Other runs are kept off first. Windows
// refuses writes to what a mounted volume covers, and a volume that wasn't locked
// may have open files, which a dismount would cut off: so all volumes are locked
// before any is dismounted. The last step finds what was mounted meanwhile.
var guards = []guard{
	{"claim", claimDisk},
	{"open", openDiskForWriting},
	{"measure", measureDisk},
	{"lock", lockVolumes},
	{"dismount", dismountVolumes},
	{"check again", checkAgain},
}

func claimDisk(d *ntDrive, _, doing string) error {
	claim, err := d.nt.claim(d.number)
	if err != nil {
		return faultNamedOn(windowsSystem, ErrBusy, drive, doing, fmt.Errorf("another run of cardwright has it: %w", err))
	}
	d.claims = append(d.claims, claim)
	return nil
}

func openDisk(d *ntDrive, _, doing string) error { return d.openAs(accessRead, doing) }

func openDiskForWriting(d *ntDrive, _, doing string) error {
	if err := d.openAs(accessWrite, doing); err != nil {
		return err
	}
	if _, err := d.disk.control(windisk.IsWritable, nil, 0); err != nil {
		return faultOn(windowsSystem, drive, doing, err)
	}
	return nil
}

func (d *ntDrive) openAs(access ntAccess, doing string) error {
	disk, err := d.nt.open(windisk.Path(d.number), access)
	if err != nil {
		return faultOn(windowsSystem, drive, doing, err)
	}
	d.disk = disk
	return nil
}

func measureDisk(d *ntDrive, path, doing string) error {
	if d.disk == nil {
		return fmt.Errorf("%s: it is not open", doing)
	}
	answer, err := d.disk.control(windisk.DriveGeometryEx, nil, windisk.MaxAnswer)
	if err != nil {
		return faultOn(windowsSystem, drive, doing, err)
	}
	geometry, err := windisk.ParseGeometry(answer)
	if err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	f := &ntRaw{d.disk}
	size, err := f.Size()
	if err != nil {
		return faultOn(windowsSystem, drive, doing, err)
	}
	d.raw, err = newRaw(windowsSystem, path, f, size, geometry.Sector, d.writing)
	return err
}

// How often a lock is tried for: virus scanners and the file manager open a card
// that was just put in, and let go of it soon.
const (
	lockTries = 20
	lockPause = 250 * time.Millisecond
)

func lockVolumes(d *ntDrive, _, doing string) error {
	names, err := d.unlockedVolumes(doing)
	if err != nil {
		return err
	}
	for _, name := range names {
		v, err := d.nt.open(windisk.VolumePath(name), accessWrite)
		if err != nil {
			return faultOn(windowsSystem, drive, doing, err)
		}
		d.locked = append(d.locked, lockedVolume{name, v})
		if err := d.lock(v); err != nil {
			return faultNamedOn(windowsSystem, ErrBusy, drive, doing+": "+d.placeName(name), err)
		}
	}
	return nil
}

func (d *ntDrive) lock(v ntFile) (err error) {
	for try := range lockTries {
		if try > 0 {
			d.nt.pause(lockPause)
		}
		if _, err = v.control(windisk.LockVolume, nil, 0); err == nil {
			return nil
		}
	}
	return err
}

// placeName is the name by which a person knows a volume.
func (d *ntDrive) placeName(volume string) string {
	if places := d.nt.places(volume); len(places) > 0 {
		return places[0]
	}
	return "a part of it without a letter"
}

// unlockedVolumes are the volumes on this drive that aren't locked yet. One that
// reaches onto another drive is refused.
func (d *ntDrive) unlockedVolumes(doing string) ([]string, error) {
	all, err := d.nt.volumes()
	if err != nil {
		return nil, faultOn(windowsSystem, drive, doing, err)
	}
	var names []string
	for _, name := range all {
		extents, err := ntExtents(d.nt, name)
		if err != nil {
			continue // an empty reader, a disc: on no drive
		}
		here, elsewhere := 0, 0
		for _, e := range extents {
			if e.Drive == d.number {
				here++
			} else {
				elsewhere++
			}
		}
		if here > 0 && elsewhere > 0 {
			return nil, faultNamedOn(windowsSystem, ErrBusy, drive, doing, fmt.Errorf("%s reaches onto another drive", d.placeName(name)))
		}
		if here > 0 && !d.holdsVolume(name) {
			names = append(names, name)
		}
	}
	return names, nil
}

func (d *ntDrive) holdsVolume(name string) bool {
	for _, l := range d.locked {
		if l.name == name {
			return true
		}
	}
	return false
}

func dismountVolumes(d *ntDrive, _, doing string) error {
	for _, l := range d.locked {
		if _, err := l.file.control(windisk.DismountVolume, nil, 0); err != nil {
			return faultNamedOn(windowsSystem, ErrBusy, drive, doing+": "+d.placeName(l.name), err)
		}
	}
	return nil
}

// checkAgain refuses a drive on which an unlocked volume has come up.
func checkAgain(d *ntDrive, _, doing string) error {
	names, err := d.unlockedVolumes(doing)
	if err != nil {
		return err
	}
	if len(names) > 0 {
		return faultNamedOn(windowsSystem, ErrBusy, drive, doing, fmt.Errorf("%s was mounted meanwhile", d.placeName(names[0])))
	}
	return nil
}

// TellSystem has Windows read the drive's partition table. From then on the system
// may mount the card and write to it: only Eject and Close may follow.
func (d *ntDrive) TellSystem() error {
	if _, err := d.disk.control(windisk.UpdateProperties, nil, 0); err != nil {
		return d.fault("telling the system the partition table of "+d.path, err)
	}
	return nil
}

// Eject has the reader let go of its card while its volumes are still locked, so
// that nothing writes to it any more; Close follows. It fails with ErrStays where
// the reader can't do that.
func (d *ntDrive) Eject() error {
	_, _ = d.disk.control(windisk.MediaRemoval, []byte{0}, 0) // most cards are not kept from being taken out
	if _, err := d.disk.control(windisk.EjectMedia, nil, 0); err != nil {
		return faultNamedOn(windowsSystem, ErrStays, drive, "ejecting "+d.path, err)
	}
	return nil
}

// Close gives the drive back: first its volumes, which unlocks them; other runs are
// let in last. What was not synced may be lost.
func (d *ntDrive) Close() error {
	var errs []error
	for _, l := range d.locked {
		errs = append(errs, l.file.Close())
	}
	d.locked = nil
	switch {
	case d.raw != nil:
		errs = append(errs, d.closeFile())
	case d.disk != nil:
		errs = append(errs, d.disk.Close())
	}
	d.disk = nil
	for _, c := range d.claims {
		errs = append(errs, c.Close())
	}
	d.claims = nil
	return errors.Join(errs...)
}

// ntRaw is an open drive for a raw medium.
type ntRaw struct{ ntFile }

// Flush empties the drive's write cache. A reader that doesn't know the command has
// written everything already.
func (r *ntRaw) Flush() error {
	err := r.Sync()
	if errors.Is(err, errInvalidFunction) || errors.Is(err, errNotSupported) {
		return nil
	}
	return err
}

// Size can only be read of a drive that is open for reading.
func (r *ntRaw) Size() (int64, error) {
	answer, err := r.control(windisk.LengthInfo, nil, 8)
	if err != nil {
		return 0, err
	}
	return windisk.ParseLength(answer)
}

// Error numbers of Windows (Microsoft, "System Error Codes").
const (
	errInvalidFunction = syscall.Errno(1)
	errNotSupported    = syscall.Errno(50)
)

// windowsErrors are the error numbers that mean something for a card.
var windowsErrors = []systemError{
	{syscall.Errno(19), ErrLocked},     // ERROR_WRITE_PROTECT
	{syscall.Errno(32), ErrBusy},       // ERROR_SHARING_VIOLATION
	{syscall.Errno(33), ErrBusy},       // ERROR_LOCK_VIOLATION
	{syscall.Errno(170), ErrBusy},      // ERROR_BUSY
	{syscall.Errno(112), ErrFull},      // ERROR_DISK_FULL
	{syscall.Errno(39), ErrFull},       // ERROR_HANDLE_DISK_FULL
	{syscall.Errno(223), errTooLong},   // ERROR_FILE_TOO_LARGE
	{syscall.Errno(21), ErrNoCard},     // ERROR_NOT_READY
	{syscall.Errno(1112), ErrNoCard},   // ERROR_NO_MEDIA_IN_DRIVE
	{syscall.Errno(23), ErrNoAnswer},   // ERROR_CRC
	{syscall.Errno(27), ErrNoAnswer},   // ERROR_SECTOR_NOT_FOUND
	{syscall.Errno(31), ErrNoAnswer},   // ERROR_GEN_FAILURE
	{syscall.Errno(55), ErrNoAnswer},   // ERROR_DEV_NOT_EXIST
	{syscall.Errno(121), ErrNoAnswer},  // ERROR_SEM_TIMEOUT
	{syscall.Errno(433), ErrNoAnswer},  // ERROR_NO_SUCH_DEVICE
	{syscall.Errno(483), ErrNoAnswer},  // ERROR_DEVICE_HARDWARE_ERROR
	{syscall.Errno(1110), ErrNoAnswer}, // ERROR_MEDIA_CHANGED
	{syscall.Errno(1117), ErrNoAnswer}, // ERROR_IO_DEVICE
	{syscall.Errno(1167), ErrNoAnswer}, // ERROR_DEVICE_NOT_CONNECTED
	{syscall.Errno(5), ErrDenied},      // ERROR_ACCESS_DENIED
	{syscall.Errno(1314), ErrDenied},   // ERROR_PRIVILEGE_NOT_HELD
	{syscall.Errno(2), ErrMissing},     // ERROR_FILE_NOT_FOUND
	{syscall.Errno(3), ErrMissing},     // ERROR_PATH_NOT_FOUND
}

// windowsSystem is Windows, for the words of errors.
var windowsSystem = system{"windows", windowsErrors}
