package durable

import (
	"os"

	"golang.org/x/sys/windows"
)

// Lock does nothing: Windows lets no other program remove a file that is open
// as Go opens it.
func Lock(*os.File) error { return nil }

// SyncOpenFolder does nothing: Windows syncs no folders. A renaming lasts
// because it is written through.
func SyncOpenFolder(*os.File) error { return nil }

func rename(temp, path string) error {
	return move(temp, path, windows.MOVEFILE_REPLACE_EXISTING)
}

func renameNew(temp, path string) error { return move(temp, path, 0) }

// move returns when the new name is on the disk (MOVEFILE_WRITE_THROUGH, in
// Microsoft's page on MoveFileExW). Long paths are the runtime's business.
func move(temp, path string, how uint32) error {
	from, err := windows.UTF16PtrFromString(temp)
	if err != nil {
		return err
	}
	to, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return err
	}
	if err := windows.MoveFileEx(from, to, how|windows.MOVEFILE_WRITE_THROUGH); err != nil {
		return &os.LinkError{Op: "rename", Old: temp, New: path, Err: err}
	}
	return nil
}
