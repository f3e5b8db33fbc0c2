package drive

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/windows"

	"cardwright/media/windisk"
)

// Drive is the drive of a card in a reader.
type Drive struct {
	*ntDrive
}

// OpenDrive opens a whole drive, by the letter of a volume on it (E:) or as
// \\.\PhysicalDrive2. For writing, every volume on it is locked and dismounted
// until Close; one in use is refused with ErrBusy.
func OpenDrive(path string, forWriting bool) (*Drive, error) {
	d, err := openNT(windowsCalls{}, path, forWriting)
	if err != nil {
		return nil, err
	}
	return &Drive{d}, nil
}

// IsName reports whether a target is the name of a drive, and not a file or folder.
func IsName(path string) bool { return windisk.IsDrive(path) }

// Whole is the name of the drive that a path names, as readers lists it.
func Whole(path string) (string, error) {
	number, err := ntNumber(windowsCalls{}, path)
	if err != nil {
		return "", err
	}
	return windisk.Path(number), nil
}

// Holds reports whether a file, or the folder that it would be made in, is on a
// drive. What can't be looked at isn't.
func Holds(drive, path string) bool {
	number, err := ntNumber(windowsCalls{}, drive)
	if err != nil {
		return false
	}
	full, err := filepath.Abs(path)
	if err != nil {
		return false
	}
	root := filepath.VolumeName(full)
	if mounted := volumePath(full); mounted != "" {
		root = mounted
	}
	extents, err := ntExtents(windowsCalls{}, volumeName(root))
	if err != nil {
		return false
	}
	for _, e := range extents {
		if e.Drive == number {
			return true
		}
	}
	return false
}

// volumePath is the letter or folder at which the volume of a path is mounted.
func volumePath(path string) string {
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return ""
	}
	root := make([]uint16, windows.MAX_LONG_PATH)
	if err := windows.GetVolumePathName(name, &root[0], uint32(len(root))); err != nil {
		return ""
	}
	return windows.UTF16ToString(root)
}

// volumeName is the \\?\Volume{…}\ of a mount point, or what was given.
func volumeName(mount string) string {
	if letter := filepath.Clean(mount); len(letter) == 3 && letter[1] == ':' {
		return letter[:2]
	}
	point, err := windows.UTF16PtrFromString(mount)
	if err != nil {
		return mount
	}
	name := make([]uint16, windows.MAX_PATH)
	if err := windows.GetVolumeNameForVolumeMountPoint(point, &name[0], uint32(len(name))); err != nil {
		return mount
	}
	return windows.UTF16ToString(name)
}

// windowsCalls are Windows' own calls.
type windowsCalls struct{}

func (windowsCalls) claim(number int) (io.Closer, error) {
	name, err := windows.UTF16PtrFromString(fmt.Sprintf(`Global\cardwright-drive-%d`, number))
	if err != nil {
		return nil, err
	}
	mutex, err := windows.CreateMutex(nil, false, name)
	if err != nil {
		if mutex != 0 {
			_ = windows.CloseHandle(mutex) // the other run keeps its own
		}
		return nil, err
	}
	return handle(mutex), nil
}

type handle windows.Handle

func (h handle) Close() error { return windows.CloseHandle(windows.Handle(h)) }

func (windowsCalls) open(path string, access ntAccess) (ntFile, error) {
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	rights := map[ntAccess]uint32{accessRead: windows.GENERIC_READ, accessWrite: windows.GENERIC_READ | windows.GENERIC_WRITE}[access]
	var flags uint32
	if access != accessNone {
		flags = windows.FILE_FLAG_NO_BUFFERING
	}
	if access == accessWrite {
		flags |= windows.FILE_FLAG_WRITE_THROUGH
	}
	h, err := windows.CreateFile(name, rights, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE, nil, windows.OPEN_EXISTING, flags, 0)
	if err != nil {
		return nil, err
	}
	return windowsFile{os.NewFile(uintptr(h), path)}, nil
}

type windowsFile struct{ *os.File }

func (f windowsFile) control(code uint32, in []byte, most int) ([]byte, error) {
	return controlOf(windows.Handle(f.Fd()), code, in, most)
}

// controlOf asks a device, and returns at most so many bytes of its answer.
func controlOf(h windows.Handle, code uint32, in []byte, most int) ([]byte, error) {
	out := make([]byte, most+8) // its address must be one even where nothing is answered
	inAt := &out[0]
	if len(in) > 0 {
		inAt = &in[0]
	}
	var n uint32
	err := windows.DeviceIoControl(h, code, inAt, uint32(len(in)), &out[0], uint32(most), &n, nil)
	if errors.Is(err, windows.ERROR_MORE_DATA) {
		err = nil // a volume on more drives than are believed
	}
	return out[:min(int(n), most)], err
}

func (windowsCalls) volumes() ([]string, error) {
	name := make([]uint16, windows.MAX_PATH)
	search, err := windows.FindFirstVolume(&name[0], uint32(len(name)))
	if err != nil {
		return nil, err
	}
	defer windows.FindVolumeClose(search)
	var names []string
	for len(names) < maxVolumes {
		names = append(names, windows.UTF16ToString(name))
		if err := windows.FindNextVolume(search, &name[0], uint32(len(name))); errors.Is(err, windows.ERROR_NO_MORE_FILES) {
			return names, nil
		} else if err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("more than %d volumes", maxVolumes)
}

// maxVolumes is the most volumes that a computer is believed to have.
const maxVolumes = 4096

func (windowsCalls) places(volume string) []string {
	name, err := windows.UTF16PtrFromString(volume)
	if err != nil {
		return nil
	}
	list := make([]uint16, windows.MAX_LONG_PATH)
	var n uint32
	if err := windows.GetVolumePathNamesForVolumeName(name, &list[0], uint32(len(list)), &n); err != nil {
		return nil
	}
	return windisk.Texts(list[:min(int(n), len(list))])
}

func (windowsCalls) pause(d time.Duration) { time.Sleep(d) }
