package drive

import (
	"os"

	"golang.org/x/sys/windows"
)

var systemErrors = windowsErrors

// windowsAlign suits the sectors of every disk that Windows reads unbuffered.
const windowsAlign = 4096

// openDirect opens the file a second time without buffering: such reads come from
// the disk (Microsoft, "File Buffering"), if that is one of this computer's.
func (s *store) openDirect() {
	where := fileSystemOfType(driveTypeOf(s.path))
	if s.bytes == 0 || where == memory {
		s.proof.Store(inMemory) // nothing to read, or no medium beneath
		return
	}
	f, err := os.OpenFile(s.path, os.O_RDONLY|windows.O_FILE_FLAG_NO_BUFFERING, 0)
	if err != nil {
		return
	}
	s.align = windowsAlign
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	if _, err := readAtLeast(f, (*bounce)[:s.align], 0, 1); err != nil {
		_ = f.Close() // nothing was written through it
		return
	}
	s.direct = f
	if where == local {
		s.proof.Store(pastCache)
	}
}

// driveTypeOf is what GetDriveType says of the volume that a file is on.
func driveTypeOf(path string) uint32 {
	root, err := windows.UTF16PtrFromString(volumePath(path))
	if err != nil {
		return 0
	}
	return windows.GetDriveType(root)
}

// gone is about drives, which are opened in another way here.
func (s *store) gone() bool { return false }

func (s *store) forget() error {
	if !s.writing {
		return nil
	}
	return s.plain.Sync()
}

func startWriteOut(*os.File) error { return nil }

// makeSparse keeps the system from filling an image with zeros on the disk. A file
// system without holes fills it all the same.
func makeSparse(f *os.File) {
	var n uint32
	_ = windows.DeviceIoControl(windows.Handle(f.Fd()), windows.FSCTL_SET_SPARSE, nil, 0, nil, 0, &n, nil)
}
