package place

import "golang.org/x/sys/unix"

// kernels says why no file is made in a folder that is there, and whether it is
// one of devices; "" where one may be.
func kernels(folder string) (why string, devices bool) {
	var st unix.Statfs_t
	if unix.Statfs(folder, &st) != nil || unix.ByteSliceToString(st.Fstypename[:]) != "devfs" {
		return "", false
	}
	return "that folder holds the system's devices (devfs)", true
}
