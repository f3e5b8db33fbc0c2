//go:build !linux && !darwin

package place

// kernels says nothing: Windows has no folders of devices.
func kernels(string) (why string, devices bool) { return "", false }
