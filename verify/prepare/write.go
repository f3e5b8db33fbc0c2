package prepare

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync"

	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/drive"
	"cardwright/verify"
)

// Prove has every card show that it holds what it claims, all at once. One that
// doesn't is blanked and not written.
func (r *Run) Prove(ctx context.Context) {
	if r.Capacity == "" {
		return
	}
	var total int64
	if r.Capacity == capacity.Full {
		for _, t := range r.Targets {
			total += 2 * t.Bytes
		}
	}
	progress, done := r.Watch("proving capacity", total)
	defer done()
	var wait sync.WaitGroup
	for _, t := range r.Targets {
		wait.Go(func() { t.failed = t.prove(ctx, r.Capacity, progress) })
	}
	wait.Wait()
}

func (t *Target) prove(ctx context.Context, form capacity.Form, progress Progress) error {
	var before int64
	options := capacity.Options{Progress: func(_ capacity.Phase, done, _ int64) {
		progress("", done-before)
		before = done
	}}
	proof := capacity.Prove
	if form == capacity.Quick {
		proof = capacity.Probe
	}
	result, err := proof(ctx, t.medium, options)
	switch {
	case err != nil:
		err = fmt.Errorf("proving the capacity of %s: %w", t.Path, err)
	case result.Verdict == capacity.Holds:
		t.Capacity = &result
		return nil
	default:
		t.Capacity = &result
		err = &media.Misread{Err: errors.New(result.Conclusion())}
	}
	if blanking := t.job.Blank(t.medium); blanking != nil {
		return &media.NotBlank{Cause: err, Blanking: blanking}
	}
	return err
}

// Write writes all targets, those that get the same card together, and reads every
// one back. Its Outcome and Report say what became of each. Images are put in
// their places; drives are held until Release.
func (r *Run) Write(ctx context.Context) {
	var total int64
	for _, t := range r.Targets {
		for _, f := range t.Card.Files {
			total += 2 * f.Size
		}
	}
	progress, done := r.Watch("writing", total)
	defer done()
	var wait sync.WaitGroup
	for _, group := range r.sets().Together(len(r.Layout.Cards)) {
		wait.Go(func() { r.writeGroup(ctx, group, progress) })
	}
	wait.Wait()
}

func (r *Run) writeGroup(ctx context.Context, group []int, progress Progress) {
	first := r.Targets[group[0]]
	job := first.job
	job.Progress = func(_ media.Phase, n int64) { progress("", n) }
	if first.Kind == folder {
		first.Outcome = job.WriteFolder(ctx, media.FolderTarget{
			Dir: first.Path, Beside: r.Beside, Replace: r.Agreed.LoseFiles, Words: r.Words,
			Judge: func(ctx context.Context, record media.Record) error {
				return first.judgeFolder(ctx, record, r.Beside, progress)
			},
		})
		return
	}
	var targets []media.Target
	var written []*Target
	for _, i := range group {
		t := r.Targets[i]
		if t.failed != nil {
			t.Outcome = media.Outcome{Err: t.failed}
			continue
		}
		written = append(written, t)
		targets = append(targets, media.Target{
			Medium: t.medium,
			Judge: func(ctx context.Context, read io.ReaderAt, record media.Record, digest string) error {
				return t.judge(ctx, read, record, digest, progress)
			},
		})
	}
	for k, outcome := range job.Write(ctx, targets) {
		written[k].take(outcome)
	}
}

// take takes what became of a target's card.
func (t *Target) take(o media.Outcome) {
	switch {
	case t.Kind == driveOrPart: // held until Release
		o.Err = t.orPulledOut(o.Err)
	default:
		// An image that failed is removed, so it needn't be blank.
		if n, ok := errors.AsType[*media.NotBlank](o.Err); ok {
			o.Err = n.Cause
		}
		if err := t.finish(o.Err == nil); err != nil && o.Err == nil {
			o.Err = err
		}
	}
	t.Outcome = o
}

// orPulledOut is a failure, or that the card was pulled out: whatever came of
// that says less.
func (t *Target) orPulledOut(failure error) error {
	if failure == nil || media.Interrupted(failure) {
		return failure
	}
	if gone := t.drive.Gone(); gone != nil {
		return gone
	}
	return failure
}

// judge reads a written card back and compares it with what was meant to be
// written.
func (t *Target) judge(ctx context.Context, read io.ReaderAt, r media.Record, digest string, progress Progress) error {
	expected := t.expected(r)
	expected.Digest, expected.Limits = digest, t.Card.Limits
	progress("reading back", 0)
	report := verify.Card(ctx, read, t.Bytes, &expected, func(n int64) { progress("", n) })
	if m, ok := t.medium.(verify.HowRead); ok {
		report.AddHowRead(t.Kind, m)
	}
	t.Report = &report
	return notGood(report)
}

func (t *Target) judgeFolder(ctx context.Context, r media.Record, beside bool, progress Progress) error {
	expected := t.expected(r)
	expected.Beside = beside
	progress("reading back", 0)
	report := verify.Folder(ctx, t.Path, &expected, func(n int64) { progress("", n) })
	t.Report = &report
	if report.Verdict == verify.Unchecked { // a folder's own limits; said in the report
		for _, f := range report.Findings {
			if f.Kind == verify.Unreadable {
				return notGood(report)
			}
		}
		return nil
	}
	return notGood(report)
}

// expected is what a card that was just written should hold.
func (t *Target) expected(r media.Record) verify.Expected {
	return verify.Expected{
		Record: r, Alone: t.Card.Alone, FileSystems: t.Card.FileSystems, Package: t.openPackage,
		Trusts: t.signers, Signed: len(t.signers) > 0 && !t.Card.Alone, Commands: t.commands,
	}
}

// openPackage opens what a file of the card was copied from.
func (t *Target) openPackage(path string) (io.ReadCloser, error) {
	for _, f := range t.Card.Files {
		if f.Path == path {
			return t.job.Packages.Open(f.Source)
		}
	}
	return nil, fs.ErrNotExist
}

// notGood is nil for a good report, and otherwise says the worst.
func notGood(r verify.Report) error {
	if r.Verdict == verify.Good {
		return nil
	}
	if len(r.Findings) == 0 {
		return fmt.Errorf("verdict %s", r.Verdict)
	}
	f := r.Findings[0]
	return fmt.Errorf("%s", strings.Join([]string{string(f.Kind), f.Path, "found", f.Found, "expected", f.Expected}, " "))
}

// Release gives the drives back: the last act, since a system that was notified of
// a new card may mount it and write to it. A card that is good stays so
// whatever becomes of this.
func (r *Run) Release() {
	for _, t := range r.Targets {
		if t.drive == nil {
			continue
		}
		if r.Eject && t.Outcome.Err == nil {
			t.Unreleased = t.drive.Eject()
			t.Ejected = t.Unreleased == nil
		}
		if !t.Ejected {
			t.Unreleased = errors.Join(t.Unreleased, t.drive.TellSystem())
		}
		t.Unreleased = errors.Join(t.Unreleased, t.finish(t.Outcome.Err == nil))
	}
}

// Close gives back what a run that ended early still holds. Images that aren't
// finished are removed.
func (r *Run) Close() (err error) {
	for _, t := range r.Targets {
		if t.medium == nil {
			continue
		}
		if e := t.finish(false); e != nil {
			err = errors.Join(err, fmt.Errorf("closing %s: %w", t.Path, e))
		}
	}
	return err
}

// finish puts a good image in its place and gives everything back.
func (t *Target) finish(good bool) error {
	i, d := t.image, t.drive
	t.image, t.drive, t.medium = nil, nil, nil
	switch {
	case i != nil && good:
		return errors.Join(i.Commit(), i.Close())
	case i != nil:
		return i.Abandon()
	case d != nil:
		return d.Close()
	}
	return nil
}

// folderLeft says in what state a failure left a folder.
var folderLeft = map[media.FolderState]string{
	media.FolderUntouched:  "Nothing in the folder was touched.",
	media.FolderCleared:    "What was written to the folder was removed again.",
	media.FolderWithoutOld: "What was written to the folder was removed again, and the earlier card that\nwas there is gone.",
	media.FolderUnknown:    "The folder may hold anything: do not use it as a card.",
}

// Left says in what state a failure left the target.
func (t *Target) Left() string {
	if errors.Is(t.Outcome.Err, drive.ErrGone) {
		return "It is unfinished: prepare it again before you use it."
	}
	if _, ok := errors.AsType[*media.NotBlank](t.Outcome.Err); ok {
		return "The card may hold anything: do not use it."
	}
	switch t.Kind {
	case image:
		return "No image was made; what was there before is untouched."
	case folder:
		return folderLeft[t.Outcome.Left]
	}
	return "The card is blank: it holds no file system."
}
