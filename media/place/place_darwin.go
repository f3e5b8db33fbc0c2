package place

import "golang.org/x/sys/unix"

// whyNoFiles says why no file is made in an existing folder, and whether it is one
// of devices; "" where one may be made.
func whyNoFiles(folder string) (why string, devices bool) {
	var st unix.Statfs_t
	if unix.Statfs(folder, &st) != nil || unix.ByteSliceToString(st.Fstypename[:]) != "devfs" {
		return "", false
	}
	return "that folder holds the system's devices (devfs)", true
}
