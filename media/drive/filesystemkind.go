package drive

// fileSystem is what can be proven about reads on a file system.
type fileSystem int

const (
	local     fileSystem = iota
	stacked              // another file system beneath, with its own cache
	elsewhere            // another program or computer reads for us
	memory               // no medium beneath its pages
)

// placeOf is what GetDriveType's answer on Windows proves (Microsoft,
// "GetDriveTypeW function").
func placeOf(driveType uint32) fileSystem {
	switch driveType {
	case 2, 3: // DRIVE_REMOVABLE, DRIVE_FIXED
		return local
	case 6: // DRIVE_RAMDISK
		return memory
	}
	return elsewhere
}
