package drive

import (
	"errors"
	"os"
)

// OpenFile opens a plain file of any length for reading, past the system's
// cache where it allows that. Close gives it back.
func OpenFile(path string) (*Image, error) {
	doing := "opening " + path
	if err := mustBeFile(doing, path); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, faultOf(image, doing, err)
	}
	size, err := sizeOf(f)
	if err != nil {
		return nil, errors.Join(faultOf(image, doing, err), f.Close())
	}
	file := &Image{store: newStore(path, f, size, false)}
	if size > 0 {
		file.openDirect()
	}
	return file, nil
}
