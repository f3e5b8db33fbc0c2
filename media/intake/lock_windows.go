package intake

import (
	"errors"
	"io"
	"os"
	"time"

	"golang.org/x/sys/windows"

	"cardwright/media/place"
)

// askAgain is how long a program waits before it asks again: a held name can't be
// waited for, as a file lock can.
const askAgain = 200 * time.Millisecond

// lockFolder locks a folder; where another program holds it, it waits, or else
// returns nil. Closing what it returns gives the folder up. Where folders can't be
// held everybody is let in.
func lockFolder(f *os.File, wait bool) io.Closer {
	for {
		held, err := place.HoldFolder(f)
		switch {
		case err == nil:
			return held
		case !errors.Is(err, windows.ERROR_ALREADY_EXISTS):
			return f
		case !wait:
			return nil
		}
		time.Sleep(askAgain)
	}
}
