package drive

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"cardwright/media/place"
)

// Kind is what the name of a target leads to.
type Kind int

// The kinds of target. An image may be there or not.
const (
	ImageFile Kind = iota
	DriveOrPart
	Folder
)

// KindOf tells a drive, a folder and an image file apart. The error is *NoDrive
// where a name can only be a drive's and there is none, *NotATarget where something
// else is there.
func KindOf(path string) (Kind, error) {
	if IsName(path) {
		return DriveOrPart, nil
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return ImageFile, notThere(path)
	case err != nil:
		return ImageFile, fmt.Errorf("looking at %s: %w", path, err)
	case info.IsDir():
		return Folder, nil
	case info.Mode()&fs.ModeDevice != 0:
		return DriveOrPart, nil
	case info.Mode().IsRegular():
		return ImageFile, nil
	}
	return ImageFile, &NotATarget{path}
}

// NotATarget is a name of something that can't hold a card: a pipe, a socket.
type NotATarget struct{ Path string }

func (e *NotATarget) Error() string { return e.Path + " is neither a drive nor a folder nor a file" }

// NoDrive says that a target names a drive that isn't there.
type NoDrive struct {
	Path string
	why  string
	err  error // nil: nothing was asked
}

func (e *NoDrive) Error() string { return fmt.Sprintf("there is no drive %s; %s", e.Path, e.why) }
func (e *NoDrive) Unwrap() error { return e.err }

// Unknown is the error that the system knows no drive of that name; err is what it
// said, nil where it wasn't asked.
func Unknown(path string, err error) error {
	return &NoDrive{path, "the system knows none by that name", err}
}

// notThere is nil where something that isn't there can become an image file.
func notThere(path string) error {
	err := place.MayMake(path)
	if why, ok := errors.AsType[*place.NoPlace](err); ok && why.Drive {
		return &NoDrive{path, why.Why, err}
	}
	return err
}

// ReadOnly is a drive or an image that was opened for reading only.
type ReadOnly interface {
	io.ReaderAt
	io.Closer
	Bytes() int64
	Forget() error
	FromMedium() bool
	HowRead() string
}

// OpenToRead opens an image or a drive for reading and drops what caches hold of it.
func OpenToRead(path string, kind Kind) (ReadOnly, error) {
	var card ReadOnly
	var err error
	if kind == DriveOrPart {
		card, err = orNil(OpenDrive(path, false))
		if errors.Is(err, ErrMissing) {
			err = Unknown(path, err)
		}
	} else {
		card, err = orNil(OpenImage(path))
	}
	if err != nil {
		return nil, err
	}
	if err := card.Forget(); err != nil {
		return nil, errors.Join(err, card.Close())
	}
	return card, nil
}

// orNil keeps a nil pointer from becoming an interface that isn't nil.
func orNil[T ReadOnly](card T, err error) (ReadOnly, error) {
	if err != nil {
		return nil, err
	}
	return card, nil
}
