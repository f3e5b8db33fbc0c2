package drive

// fileSystem is what reads from a file system prove.
type fileSystem int

const (
	local     fileSystem = iota
	stacked              // another file system beneath, with its own cache
	elsewhere            // another program or computer reads for us
	memory               // no medium beneath its pages
)

// fileSystemOfType is what an answer of Windows' GetDriveType proves (Microsoft,
// "GetDriveTypeW function").
func fileSystemOfType(driveType uint32) fileSystem {
	switch driveType {
	case 2, 3: // DRIVE_REMOVABLE, DRIVE_FIXED
		return local
	case 6: // DRIVE_RAMDISK
		return memory
	}
	return elsewhere
}
