package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/place"
	"cardwright/media/readers"
	"cardwright/verify"
)

// targetKind is what a TARGET on the command line turns out to be.
type targetKind int

const (
	imageTarget targetKind = iota
	driveTarget
	folderTarget
)

// kindOf tells a drive, a folder and an image file (there or not) apart.
func kindOf(path string) (targetKind, error) {
	if drive.IsName(path) {
		return driveTarget, nil
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return imageTarget, notThere(path)
	case err != nil:
		return imageTarget, fmt.Errorf("looking at %s: %w", path, err)
	case info.IsDir():
		return folderTarget, nil
	case info.Mode()&fs.ModeDevice != 0:
		return driveTarget, nil
	case info.Mode().IsRegular():
		return imageTarget, nil
	}
	return imageTarget, usage(fmt.Errorf("%s is neither a drive nor a folder nor a file", path))
}

// noDrive says that a target names a drive that isn't there.
type noDrive struct {
	path, why string
	err       error // nil: nothing was asked
}

func (e *noDrive) Error() string { return fmt.Sprintf("there is no drive %s; %s", e.path, e.why) }
func (e *noDrive) Unwrap() error { return e.err }

func unknownDrive(path string, err error) error {
	return &noDrive{path, "the system knows none by that name", err}
}

// notThere is nil where something that isn't there can become an image file.
func notThere(path string) error {
	err := place.MayMake(path)
	if why, ok := errors.AsType[*place.NoPlace](err); ok && why.Drive {
		return &noDrive{path, why.Why, err}
	}
	return err
}

// withDrives adds to the error that a drive isn't there which drives there are.
func withDrives(ctx context.Context, err error) error {
	if _, ok := errors.AsType[*noDrive](err); !ok {
		return err
	}
	drives, listing := readers.List(ctx)
	if listing != nil {
		return fmt.Errorf("%w\nwhich drives there are can't be told: %w", err, listing)
	}
	var names []string
	for _, d := range drives {
		if d.InReader() {
			names = append(names, drivesWord(d))
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("%w\n%s", err, noReaders)
	}
	return fmt.Errorf("%w\ncardwright readers shows: %s", err, strings.Join(names, "; "))
}

// drivesWord is a drive in a word or two.
func drivesWord(d readers.Drive) string {
	if d.Bytes == 0 {
		return d.Path + ", with no card in it"
	}
	return fmt.Sprintf("%s (%s, %s)", d.Path, media.Bytes(d.Bytes), described(d))
}

// readable is a card opened for reading only.
type readable interface {
	media.Medium
	io.Closer
	FromMedium() bool
	HowRead() string
}

// addHowRead adds to a report what its verdict leaves open by the way in which
// the card was read.
func addHowRead(r *verify.Report, kind targetKind, card readable) {
	switch {
	case kind == imageTarget:
		r.AddImageOnly()
	case !card.FromMedium():
		r.AddCached(card.HowRead())
	}
}

// openToRead opens an image or a drive and drops what caches hold of it.
func openToRead(path string, kind targetKind) (readable, error) {
	var card readable
	var err error
	if kind == driveTarget {
		card, err = orNil(drive.OpenDrive(path, false))
		if errors.Is(err, drive.ErrMissing) {
			err = unknownDrive(path, err)
		}
	} else {
		card, err = orNil(drive.OpenImage(path))
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
func orNil[T readable](card T, err error) (readable, error) {
	if err != nil {
		return nil, err
	}
	return card, nil
}
