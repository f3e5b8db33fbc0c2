package place

import (
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/windows"
)

// HoldFolder keeps other runs of this program out of a folder until what it
// gives is closed, which closes the folder, too; it fails with
// windows.ERROR_ALREADY_EXISTS where another run holds it. Windows has no locks
// on folders, so it is a name that the whole computer knows, which the system
// takes back when its holder ends, however it ends. Another computer that writes
// to the same share isn't kept off.
func HoldFolder(f *os.File) (io.Closer, error) {
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
	return &heldFolder{f, mutex}, nil
}

type heldFolder struct {
	*os.File
	mutex windows.Handle
}

func (h *heldFolder) Close() error {
	return errors.Join(windows.CloseHandle(h.mutex), h.File.Close())
}
