package media

import (
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/windows"
)

// lockFolder marks a folder as being written until what it gives is closed; it
// fails where another run holds it. Windows has no locks on folders, so it is
// a name that the whole computer knows, which the system takes back when its
// holder ends, however it ends. Another computer that writes to the same share
// isn't kept off.
func lockFolder(f *os.File) (io.Closer, error) {
	var info windows.ByHandleFileInformation
	if err := windows.GetFileInformationByHandle(windows.Handle(f.Fd()), &info); err != nil {
		return nil, err
	}
	name, err := windows.UTF16PtrFromString(fmt.Sprintf(`Global\cardwright-folder-%08x-%08x%08x`, info.VolumeSerialNumber, info.FileIndexHigh, info.FileIndexLow))
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
	return &lockedFolder{f, mutex}, nil
}

type lockedFolder struct {
	*os.File
	mutex windows.Handle
}

func (l *lockedFolder) Close() error {
	return errors.Join(windows.CloseHandle(l.mutex), l.File.Close())
}
