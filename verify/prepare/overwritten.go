package prepare

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"cardwright/media/drive"
	"cardwright/media/readers"
	"cardwright/verify"
)

// overwriting is a target with what is on it.
func (t *Target) overwriting(on verify.Listing) verify.Overwriting {
	return verify.Overwriting{Holds: on, Meant: t.job.Layout.Record(t.Card)}
}

// aboutFolder looks at a card's files in a folder. All other files are left to
// media.Job.WriteFolder, which finds them anyway.
func (r *Run) aboutFolder(ctx context.Context, t *Target) Question {
	q := Question{Target: t.Path}
	on := verify.ListFolder(t.Path)
	if on.Record == nil {
		return q
	}
	held := r.Holds(ctx, on)
	if o := t.overwriting(on); o.AnotherCard() && !r.Agreed.LoseFiles {
		q.Refused = fmt.Errorf("%s holds %s: nothing was touched; name another folder, or %s to replace that card", t.Path, held, r.Words.For(LoseFiles))
		return q
	}
	q.Held = held
	return q
}

// aboutImage looks at a file in the place of an image to be made. Only the card
// that the image is to become, and a file with nothing in it, may go without a word.
func (r *Run) aboutImage(ctx context.Context, t *Target) (Question, error) {
	q := Question{Target: t.Path}
	if _, err := os.Stat(t.Path); err != nil {
		return q, nil
	}
	if r.Kept(t.Path) {
		q.Refused = badJob("%s is a file of the shop: it was left as it is; choose another name", t.Path)
		return q, nil
	}
	old, err := drive.OpenToRead(t.Path, image)
	if errors.Is(err, drive.ErrNotImage) {
		if !r.Agreed.LoseFiles && !isEmpty(t.Path) {
			q.Refused = fmt.Errorf("%s is there already and is no card image: it was left as it is; choose another name, or %s to replace it", t.Path, r.Words.For(LoseFiles))
		}
		return q, nil
	}
	if err != nil {
		return q, err
	}
	defer old.Close() // opened for reading only
	on := verify.List(old, old.Bytes())
	held := r.Holds(ctx, on)
	o := t.overwriting(on)
	if !r.Agreed.LoseFiles && !o.LosesNothing(on.Blank && allZero(ctx, old, old.Bytes())) {
		q.Refused = fmt.Errorf("%s is there already and holds %s: it was left as it is; choose another name, or %s to replace it", t.Path, held, r.Words.For(LoseFiles))
		return q, nil
	}
	q.Held = held
	return q, nil
}

func isEmpty(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Size() == 0
}

// allZero reports whether an image holds nothing but zeros.
func allZero(ctx context.Context, read io.ReaderAt, size int64) bool {
	block := make([]byte, 1<<20)
	for at := int64(0); at < size && ctx.Err() == nil; at += int64(len(block)) {
		part := block[:min(int64(len(block)), size-at)]
		if n, _ := read.ReadAt(part, at); n < len(part) || len(bytes.Trim(part, "\x00")) > 0 {
			return false
		}
	}
	return ctx.Err() == nil
}

// aboutDrive looks at the card in a reader, and asks for its code where what was
// agreed to beforehand isn't enough.
func (r *Run) aboutDrive(ctx context.Context, t *Target) (Question, error) {
	q := Question{Target: t.Path}
	listed, err := r.Drives.Listed(ctx, t.Path)
	if err != nil {
		return q, err
	}
	if err := mayErase(t.Path, listed, t.Card.Limits); err != nil {
		return q, err
	}
	if q.seen, err = See(r.Drives, t.Path); err != nil {
		return q, err
	}
	o := t.overwriting(q.seen.On)
	o.Unread, o.Loop = knownBySystem(listed), listed.Type == "loop"
	q.Held = HeldOn(listed, q.seen.On, func(on verify.Listing) string { return r.Holds(ctx, on) })
	if o.OthersFiles() {
		q.Lost, q.Unread = verify.BySort(q.seen.On.Foreign), q.seen.On.Unread
	}
	named := slices.ContainsFunc(r.Agreed.Erase, func(code string) bool { return readers.SameCode(q.seen.Code, code) })
	switch o.Consent(verify.Agreement{
		Yes: r.Agreed.Yes, Lose: r.Agreed.LoseFiles, Save: r.Agreed.SaveFirst != "",
		Named: named, NamedNot: len(r.Agreed.Erase) > 0 && !named,
	}) {
	case verify.LosesFiles:
		q.Refused = fmt.Errorf("%s holds, or may hold, files that cardwright did not write: nothing was erased; %s keeps a copy of the whole card, %s gives them up",
			t.Path, r.Words.For(SaveFirst), r.Words.For(LoseFiles))
	case verify.NotNamed:
		q.Refused = fmt.Errorf("%s has the code %s, which %s doesn't name: nothing was erased; is it the right card?", t.Path, q.seen.Code, r.Words.For(NameCode))
	case verify.TypeCode:
		q.Code, q.Drive = q.seen.Code, listed
	}
	if !o.NothingToSave() {
		q.Saved = r.Agreed.SaveFirst
	}
	return q, nil
}

// HeldOn is what the card in a reader holds; where nothing on it is known here, what
// the system calls it. holds puts a listing into words.
func HeldOn(listed readers.Drive, on verify.Listing, holds func(verify.Listing) string) string {
	if name := knownBySystem(listed); name != "" && on.FileSystem == "" {
		return "a file system that can't be read here: " + name
	}
	return holds(on)
}

// knownBySystem is a file system that the system names on a drive, or on a part
// of it, "" where it names none.
func knownBySystem(d readers.Drive) string {
	for _, at := range append([]readers.Drive{d}, d.Parts...) {
		if at.FileSystem != "" {
			return at.FileSystem
		}
	}
	return ""
}
