package main

import (
	"os"

	"golang.org/x/sys/windows"
)

// takesCodes has a console take the codes by which a line is cleared, and says
// whether it does; those before Windows 10 don't.
func takesCodes(f *os.File) bool {
	console := windows.Handle(f.Fd())
	var mode uint32
	if err := windows.GetConsoleMode(console, &mode); err != nil {
		return false
	}
	return windows.SetConsoleMode(console, mode|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) == nil
}
