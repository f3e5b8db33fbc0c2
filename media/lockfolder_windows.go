package media

import (
	"io"
	"os"

	"cardwright/media/place"
)

// lockFolder marks a folder as being written until what it gives is closed; it
// fails where another run holds it.
func lockFolder(f *os.File) (io.Closer, error) { return place.HoldFolder(f) }
