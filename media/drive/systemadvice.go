package drive

import (
	"fmt"
	"runtime"
)

// system is an operating system: its name in Go, and what its error numbers mean.
type system struct {
	name   string
	errors []systemError
}

var here = system{runtime.GOOS, systemErrors}

// adviceOn is what to do on one system, where the general advice doesn't work
// there.
var adviceOn = map[string]map[error][2]string{
	"windows": {
		ErrFull: {
			"the card holds less than it claims: use another card",
			"free some space on that disk, or choose a folder on another one",
		},
		errTooLong: {
			"the card holds less than it claims: use another card",
			"choose a folder on a disk with another file system",
		},
		ErrBusy: {
			"close the windows and programs that show it or use its files, then try again",
			"another run or program has it open: close that, or choose another name",
		},
		ErrDenied: {
			"open the terminal as an administrator (right-click it, Run as administrator), then try again",
			"choose another folder, or get the right to write there",
		},
	},
	"darwin": {
		ErrFull: {
			"the card holds less than it claims: use another card",
			"free some space on that disk, or choose a folder on another one",
		},
		errTooLong: {
			"the card holds less than it claims: use another card",
			"choose a folder on a disk with another file system",
		},
		ErrBusy: {
			"close what uses it (diskutil list shows what is on it), then try again",
			"another run is writing the same image: wait until it ends, or choose another name",
		},
		ErrDenied: {
			"put sudo before the command; if that is refused too, let the terminal use removable volumes (System Settings, Privacy & Security)",
			"choose another folder, or get the right to write there",
		},
	},
}

func (s system) advice(name error, k kind) string {
	if own, ok := adviceOn[s.name][name]; ok {
		return own[k]
	}
	return advice[name][k]
}

// RightsAdvice is how a person gets the right to open drives on this system.
func RightsAdvice() string { return here.advice(ErrDenied, drive) }

func faultOn(on system, k kind, doing string, err error) error {
	return faultNamedOn(on, on.nameOf(bareError(err)), k, doing, err)
}

// faultNamedOn is an error of a system under this name; nil: none. A
// fault may have a name and no error behind it.
func faultNamedOn(on system, name error, k kind, doing string, err error) error {
	switch bare := bareError(err); {
	case name == nil:
		return fmt.Errorf("%s: %w", doing, bare)
	case err == nil:
		return fmt.Errorf("%s: %w: %s", doing, name, on.advice(name, k))
	default:
		return fmt.Errorf("%s: %w: %s (%w)", doing, name, on.advice(name, k), bare)
	}
}
