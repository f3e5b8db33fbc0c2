package place

import (
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/windows"
)

// HoldFolder keeps other runs of this program out of a folder until what it returns
// is closed, which also closes the folder. Where another run holds it the error is
// ErrHeld. Windows has no locks on folders, so this is a name that the whole computer
// knows and that the system takes back however its holder ends. A computer that
// writes to the same share isn't kept out. A file system that can't tell which folder
// it is lets everybody in.
func HoldFolder(f *os.File) (io.Closer, error) {
	var info windows.ByHandleFileInformation
	if err := windows.GetFileInformationByHandle(windows.Handle(f.Fd()), &info); err != nil {
		return f, nil
	}
	name, err := windows.UTF16PtrFromString(fmt.Sprintf(`Global\cardwright-folder-%08x-%08x%08x`, info.VolumeSerialNumber, info.FileIndexHigh, info.FileIndexLow))
	if err != nil {
		return nil, err
	}
	mutex, err := windows.CreateMutex(nil, false, name)
	switch {
	case errors.Is(err, windows.ERROR_ALREADY_EXISTS), errors.Is(err, windows.ERROR_ACCESS_DENIED): // denied: another user's run has it
		if mutex != 0 {
			_ = windows.CloseHandle(mutex) // the other run keeps its own
		}
		return nil, ErrHeld
	case err != nil:
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
