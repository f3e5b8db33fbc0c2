package fat32

import (
	"fmt"

	"cardwright/manifest/problem"
)

// nameError is a file or folder whose name a card can't hold.
type nameError struct {
	Path string // as it was given; hostile, so escape it where it is shown
	problem.Problem
}

func badName(path, found, expected string) error {
	return &nameError{path, problem.Problem{Found: found, Expected: expected}}
}

func (e *nameError) Error() string {
	return fmt.Sprintf("placing %q: %s; expected %s", e.Path, e.Found, e.Expected)
}

// sizeError is a file that is larger than FAT32 can hold.
type sizeError struct {
	Path string
	Size int64 // bytes
}

func (e *sizeError) Error() string {
	return fmt.Sprintf("placing %q: found %d bytes, expected 0 to %d, the most that FAT32 can hold", e.Path, e.Size, int64(mostFileBytes))
}

// RoomError says that files don't fit on a card.
type RoomError struct {
	Needed int64 // bytes, folders and files rounded up to clusters
	Room   int64 // bytes in the card's data area
}

func (e *RoomError) Error() string {
	return fmt.Sprintf("card too small: %d bytes needed, room for %d; use a larger card", e.Needed, e.Room)
}
