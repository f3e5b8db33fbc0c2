package prepare

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/drive"
	"cardwright/media/place"
	"cardwright/media/readers"
	"cardwright/verify"
)

// The kinds of target.
const (
	image       = drive.ImageFile
	driveOrPart = drive.DriveOrPart
	folder      = drive.Folder
)

// Target is where one card goes, and what became of it.
type Target struct {
	Path  string
	Kind  drive.Kind
	Bytes int64      // measured, or the image's to be; 0 for a folder
	Card  media.Card // of the plan, from Begin on

	Outcome    media.Outcome    // of the writing
	Report     *verify.Report   // of what was read back; nil: nothing was
	Capacity   *capacity.Result // nil: not asked for
	Ejected    bool
	Unreleased error // what went wrong when the drive was given back; the card is what it is

	job      media.Job
	signers  []*manifest.Trust // whose signature the record has to have; none: it isn't signed
	commands verify.Commands
	medium   media.Medium // opened for writing; nil: not, or not any longer
	image    *drive.Image
	drive    Drive
	failed   error // why it isn't to be written after all
}

// Drives is how drives are found and opened.
type Drives interface {
	// KindOf reports what the name of a target leads to.
	KindOf(path string) (drive.Kind, error)
	// Listed finds a drive, or the one that a part is of, in the system's own listing.
	Listed(ctx context.Context, path string) (readers.Drive, error)
	// Open opens a drive; for writing it is held exclusively.
	Open(path string, writing bool) (Drive, error)
}

// Drive is an open drive.
type Drive interface {
	media.Medium
	io.Closer
	verify.HowRead
	Gone() error       // that the card was pulled out; nil: it is there
	TellSystem() error // has the system read what is on the card now
	Eject() error
}

// Computer are the drives of this computer.
type Computer struct{}

// KindOf is drive.KindOf.
func (Computer) KindOf(path string) (drive.Kind, error) { return drive.KindOf(path) }

// Listed asks the system for its drives.
func (Computer) Listed(ctx context.Context, path string) (readers.Drive, error) {
	whole, err := drive.Whole(path)
	if errors.Is(err, drive.ErrMissing) {
		return readers.Drive{}, drive.Unknown(path, err)
	}
	if err != nil {
		return readers.Drive{}, err
	}
	drives, err := readers.List(ctx)
	if err != nil {
		return readers.Drive{}, err
	}
	for _, d := range drives {
		if d.Path == whole {
			return d, nil
		}
	}
	return readers.Drive{}, drive.Unknown(path, nil)
}

// Open opens a drive of this computer.
func (Computer) Open(path string, writing bool) (Drive, error) {
	d, err := drive.OpenDrive(path, writing)
	if err != nil {
		return nil, err
	}
	return d, nil
}

// target finds out what a name leads to and how large a card it stands for.
func (j Job) target(ctx context.Context, path string) (*Target, error) {
	kind, err := j.Drives.KindOf(path)
	if err != nil {
		return nil, err
	}
	t := &Target{Path: path, Kind: kind}
	switch kind {
	case driveOrPart:
		t.Bytes, err = j.driveBytes(ctx, path)
	case image:
		t.Bytes, err = j.imageBytes(path)
	case folder:
		err = place.MayMake(filepath.Join(path, place.Pending))
	}
	return t, err
}

// sharing is a target found before that leads to the same place, or nil.
func (l *Laid) sharing(path string) *Target {
	for _, t := range l.Targets {
		if drive.SamePlace(t.Path, path) {
			return t
		}
	}
	return nil
}

// driveBytes is the size of a drive that may be erased; whether it is of the
// right size is judged once it is known what the devices take.
func (j Job) driveBytes(ctx context.Context, path string) (int64, error) {
	listed, err := j.Drives.Listed(ctx, path)
	if err != nil {
		return 0, err
	}
	return listed.Bytes, mayErase(path, listed, media.Limits{Least: 1, Most: anySize})
}

// anySize is more than any drive has, in bytes.
const anySize = 1 << 60

func mayErase(path string, listed readers.Drive, limits media.Limits) error {
	if v := readers.MayErase(listed, limits); !v.OK {
		return fmt.Errorf("%s is not erased: it %s", path, strings.Join(v.Reasons, "; it "))
	}
	return nil
}

// imageBytes is the size that was asked for, or without it that of the image that
// is there.
func (j Job) imageBytes(path string) (int64, error) {
	if j.Size != "" {
		bytes, err := media.ImageBytes(j.Size)
		if err != nil {
			return 0, &BadJob{err}
		}
		return bytes, nil
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		size := j.Words.For(SaySize)
		return 0, badJob("%s is not there yet: say with %s how large a card the image is for, such as %s 8GB", path, size, size)
	}
	if err != nil {
		return 0, fmt.Errorf("looking at %s: %w", path, err)
	}
	return info.Size(), nil
}
