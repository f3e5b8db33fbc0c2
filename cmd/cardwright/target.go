package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"cardwright/media"
	"cardwright/media/drive"
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
		return imageTarget, nil
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
