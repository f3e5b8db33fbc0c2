package drive

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// What can be wrong with a drive or an image, for errors.Is. The errors that wrap
// them also say what to do.
var (
	ErrLocked    = errors.New("it is write-protected")
	ErrBusy      = errors.New("it is in use")
	ErrFull      = errors.New("there is no room left")
	errTooLong   = errors.New("the file system there can't hold a file that long")
	ErrNoAnswer  = errors.New("it doesn't answer")
	ErrShrunk    = errors.New("it has become smaller")
	ErrGone      = errors.New("it was pulled out")
	ErrStays     = errors.New("it can't be ejected from here")
	ErrNoCard    = errors.New("there is no card in the reader")
	ErrDenied    = errors.New("this user may not open it")
	ErrMissing   = errors.New("there is no such file or drive")
	ErrReadOnly  = errors.New("it was opened for reading only")
	ErrOutside   = errors.New("that is outside of it")
	ErrNotDrive  = errors.New("it is not a drive")
	ErrPartition = errors.New("it is one partition of a drive")
	ErrNotImage  = errors.New("it is not an image file")
)

// kind is what the bytes are on. It chooses the words of an error.
type kind int

const (
	drive kind = iota
	image
)

// advice is what to do about an error, of a drive and of an image.
var advice = map[error][2]string{
	ErrLocked: {
		"slide the lock switch of the card or its adapter away from LOCK and put it in again; a card that stays write-protected is worn out",
		"the file or its file system is read-only: choose another folder",
	},
	ErrBusy: {
		"unmount every part of it, close what uses it (lsblk shows both), then try again",
		"another run is writing the same image: wait until it ends, or choose another name",
	},
	ErrFull: {
		"the card holds less than it claims, or the disk with the loop drive's file is full: use another card",
		"free some space on that disk, or choose a folder on another one",
	},
	errTooLong: {
		"the card holds less than it claims, or the disk can't hold the loop drive's file: use another card",
		"choose a folder on a disk with another file system",
	},
	ErrNoAnswer: {
		"it was pulled out, or the card or its reader is failing: put it in again or try another reader, and don't trust what is on it",
		"the disk with the image is failing or was removed: don't trust the image",
	},
	ErrGone: {
		"put it in again, wait a few seconds, then begin again; until then don't trust what is on it",
		"the disk with the image was removed: don't trust the image",
	},
	ErrStays: {
		"take it out by hand",
		"take it out by hand",
	},
	ErrNoCard: {
		"put one in, wait a few seconds, then try again",
		"put one in, wait a few seconds, then try again",
	},
	ErrDenied: {
		"become a user who may open drives (in the system's group for disks, or root)",
		"choose another folder, or get the right to write there",
	},
	ErrMissing: {
		"the command readers lists the drives there are",
		"check the name and the folder",
	},
}

// fault names an error of the system in words, and adds what to do. A medium that
// was pulled out, or has become smaller, can cause any of several errors.
func (s *store) fault(doing string, err error) error {
	if s.kind == drive && s.gone() {
		return faultNamed(ErrGone, s.kind, doing, err)
	}
	if now, sizeErr := sizeOf(s.plain); sizeErr == nil && now < s.bytes {
		return fmt.Errorf("%s: %w: it holds %d bytes now, and %d when it was opened: it was pulled out or changed, or is failing",
			doing, ErrShrunk, now, s.bytes)
	}
	return faultOf(s.kind, doing, err)
}

func faultOf(k kind, doing string, err error) error { return faultOn(here, k, doing, err) }

// faultNamed is an error of the system under this name; nil: none.
func faultNamed(name error, k kind, doing string, err error) error {
	return faultNamedOn(here, name, k, doing, err)
}

// bareError takes off the operation and path that os puts around an error: the
// message has them already.
func bareError(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err
	}
	if link, ok := errors.AsType[*os.LinkError](err); ok {
		return link.Err
	}
	if call, ok := errors.AsType[*os.SyscallError](err); ok {
		return call.Err
	}
	return err
}

func nameOf(err error) error { return here.nameOf(err) }

func (s system) nameOf(err error) error {
	for _, known := range s.errors {
		if errors.Is(err, known.system) {
			return known.name
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return ErrMissing
	case errors.Is(err, fs.ErrPermission):
		return ErrDenied
	}
	return nil
}

// systemError is what one error number of the system means for a card.
type systemError struct{ system, name error }
