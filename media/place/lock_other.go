//go:build !unix

package place

import "os"

// Lock does nothing: Windows lets no other program remove a file that is open
// as Go opens it.
func Lock(*os.File) error { return nil }

// SyncFolder does nothing: Windows opens no folder for syncing.
func SyncFolder(string) error { return nil }
