package media

import (
	"errors"
	"fmt"
	"io"
	"os"

	"cardwright/media/place"
)

// claim keeps other runs off a folder until what it returns is closed: each would
// take the other's files for its own.
func claim(root *os.Root) (io.Closer, error) {
	folder, err := root.Open(".")
	if err != nil {
		return nil, err
	}
	claimed, err := place.HoldFolder(folder)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("another run is writing to this folder: wait until it ends (%w)", err), folder.Close())
	}
	return claimed, nil
}
