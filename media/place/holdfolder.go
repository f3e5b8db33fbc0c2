package place

import "errors"

// ErrHeld says that another run of this program holds a folder.
var ErrHeld = errors.New("another run holds the folder")
