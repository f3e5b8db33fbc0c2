package prepare

import (
	"context"
	"errors"
	"fmt"
	"os"

	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/readers"
	"cardwright/verify"
)

// Question is what has to be agreed to before a target is overwritten, with what a
// person needs to know to answer it.
type Question struct {
	Target string
	Held   string         // what is there, in words; "": nothing, or nothing worth a warning
	Lost   []verify.Group // files that nobody here wrote, which go with it
	Unread bool           // more goes that could not be read
	Saved  string         // the file that the whole card is copied to first; "": it isn't
	// Refused says why the target isn't overwritten, whatever is answered. nil: it may be.
	Refused error
	// Code is what has to be said before a card in a reader is erased: the card's own
	// code. "": nothing more has to be said.
	Code  string
	Drive readers.Drive // that the card is in, where there is a Code

	seen Seen // to be found again once the drive is held
}

// Answer takes the answer to a question. nil: the target may be overwritten.
func (q Question) Answer(said string) error {
	switch {
	case q.Refused != nil:
		return q.Refused
	case q.Code != "" && !readers.SameCode(q.Code, said):
		return fmt.Errorf("that is not the code of %s: nothing was erased", q.Target)
	}
	return nil
}

// Question finds out what is on a target. It is only read.
func (r *Run) Question(ctx context.Context, t *Target) (Question, error) {
	switch t.Kind {
	case image:
		return r.aboutImage(ctx, t)
	case driveOrPart:
		return r.aboutDrive(ctx, t)
	}
	return r.aboutFolder(ctx, t), nil
}

// Seen is a card as it stands, before anything is done to it.
type Seen struct {
	Code string // its own, see readers.Code
	On   verify.Listing
}

// See reads the code of the card in a drive, and lists what is on it.
func See(drives Drives, path string) (Seen, error) {
	d, err := drives.Open(path, false)
	if err != nil {
		return Seen{}, err
	}
	seen, err := seenOn(d)
	return seen, errors.Join(err, d.Close())
}

func seenOn(card media.Medium) (Seen, error) {
	if err := card.Forget(); err != nil {
		return Seen{}, err
	}
	on := verify.List(card, card.Bytes())
	code, err := readers.Code(card, card.Bytes(), on.Root)
	return Seen{code, on}, err
}

// Open opens a target for writing, after its question was answered. A card in a
// reader is opened only if it is the one that the question was about, and saved
// first where that was asked for.
func (r *Run) Open(ctx context.Context, t *Target, q Question) error {
	switch t.Kind {
	case image:
		i, err := drive.CreateImage(t.Path, t.Bytes)
		if err != nil {
			return err
		}
		t.image, t.medium = i, i
	case driveOrPart:
		return r.openDrive(ctx, t, q)
	}
	return nil
}

func (r *Run) openDrive(ctx context.Context, t *Target, q Question) error {
	d, err := r.Drives.Open(t.Path, true)
	if err != nil {
		return err
	}
	t.drive, t.medium = d, d
	again := "nothing was erased; look at it again with " + r.Words.For(SeeReaders)
	if d.Bytes() != t.Bytes {
		return fmt.Errorf("%s holds %s now and held %s a moment ago: %s", t.Path, media.Bytes(d.Bytes()), media.Bytes(t.Bytes), again)
	}
	now, err := seenOn(d)
	if err != nil {
		return err
	}
	if !readers.SameCode(q.seen.Code, now.Code) {
		return fmt.Errorf("%s holds another card now (code %s, before %s): %s", t.Path, now.Code, q.seen.Code, again)
	}
	if q.Saved == "" {
		return nil
	}
	return r.save(ctx, t, q.Saved)
}

// save keeps a verified copy of the whole card before it is erased.
func (r *Run) save(ctx context.Context, t *Target, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already: nothing was erased; choose another name for the copy", path)
	}
	to, err := drive.CreateImage(path, t.Bytes)
	if err != nil {
		return err
	}
	progress, done := r.Watch("copying the card", t.Bytes)
	phase := media.Writing
	err = media.Save(ctx, t.medium, to, func(now media.Phase, n int64) {
		if now != phase { // the copy is as long as the card: counted anew
			done()
			phase = now
			progress, done = r.Watch("comparing the copy", t.Bytes)
		}
		progress("", n)
	})
	done()
	if err == nil {
		err = to.Commit()
	}
	if err != nil {
		return errors.Join(err, to.Abandon())
	}
	return nil
}
