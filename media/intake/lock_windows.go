package intake

import (
	"errors"
	"io"
	"os"
	"time"

	"golang.org/x/sys/windows"

	"cardwright/media/place"
)

// askAgain is how long a program waits before it asks again for its turn: a
// name that is held can't be waited for, as a file's lock can.
const askAgain = 200 * time.Millisecond

// lockFolder waits until no other program holds a folder, or only tries; nil
// where one does. What it gives is closed to give the folder up. Where there is
// no holding a folder everybody is let in.
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
