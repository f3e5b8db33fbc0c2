//go:build !linux

package intake

import "os"

// dropCache asks nothing of systems on which a program can't.
func dropCache(*os.File) {}
