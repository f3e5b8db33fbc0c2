//go:build !linux && !darwin

package place

// whyNoFiles says nothing: Windows has no folders of devices.
func whyNoFiles(string) (why string, devices bool) { return "", false }
