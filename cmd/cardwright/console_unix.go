//go:build unix

package main

import "os"

// takesCodes says that a terminal takes the codes by which a line is cleared
// (ECMA-48, EL).
func takesCodes(*os.File) bool { return true }
