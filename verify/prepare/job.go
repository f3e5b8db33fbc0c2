// Package prepare is one run of writing a vessel's cards: which target gets which
// card, what a person has to agree to before one is overwritten, the order of the
// work, and what became of each card. The run is a value with its questions as data:
// whoever runs it answers them, at a terminal or from flags. It prints nothing, asks
// nobody and notes nothing in the ledger. How a card is written is package media's,
// how it is judged package verify's.
//
// The steps, each from the value of the one before: Job, Lay, Begin; then Question
// and Open for each target; then Prove, Write, Release.
package prepare

import (
	"context"
	"errors"
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/problem"
	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/verify"
)

// Job is a run as it was asked for.
type Job struct {
	Shop     *manifest.Shop
	Vessel   *manifest.Vessel
	Visit    order.Ask // which plan of the vessel's
	Packages media.Packages
	To       []string // the targets, as they were named
	Size     string   // of the card that an image is for: 8GB, 4GiB or bytes; "": as the image that is there
	Agreed   Agreed
	Beside   bool          // other files in a mounted folder stay
	Eject    bool          // drives, when they are proven
	Capacity capacity.Form // that drives prove first; "": none

	InstallOrder func(order.Plan) ([]byte, error)                 // the text that goes onto the cards
	Kept         func(path string) bool                           // reports whether the shop keeps a file: no image replaces one
	Holds        func(context.Context, verify.Listing) string     // what a card holds, in words
	Commands     verify.Commands                                  // that a report's advice names
	Words        problem.Words                                    // for Acts
	Watch        func(doing string, bytes int64) (Progress, Done) // shows how far something is; never nil
	Drives       Drives                                           // how drives are found and opened
}

// Agreed is what was agreed to before the run.
type Agreed struct {
	Yes       bool     // nothing more has to be asked, where that is enough
	LoseFiles bool     // files that nobody here wrote go
	SaveFirst string   // the file that a card with such files is copied to first; "": none
	Erase     []string // the codes of cards that may be erased
}

// Progress gets the bytes done, from several goroutines at once; doing says what is
// done from now on, "": the same as before.
type Progress func(doing string, bytes int64)

// Done says that what was shown is over.
type Done func()

// What advice asks to have done.
const (
	NameTarget    problem.Act = "name another target"
	SaySize       problem.Act = "say the size"
	SaveFirst     problem.Act = "save it first"
	LoseFiles     problem.Act = "give up the files"
	NameCode      problem.Act = "name the code"
	ProveCapacity problem.Act = "proving the capacity"
	Eject         problem.Act = "ejecting"
	SeeReaders    problem.Act = "look at the card readers"
)

// Acts are all of them.
var Acts = []problem.Act{NameTarget, SaySize, SaveFirst, LoseFiles, NameCode, ProveCapacity, Eject, SeeReaders}

// BadJob says that a job can't be done as it was asked for.
type BadJob struct{ Err error }

func (e *BadJob) Error() string { return e.Err.Error() }
func (e *BadJob) Unwrap() error { return e.Err }

func badJob(format string, args ...any) error { return &BadJob{fmt.Errorf(format, args...)} }

// Laid is a job with its plan, laid out for the sizes of its targets.
type Laid struct {
	Job
	Targets []*Target
	Plan    order.Plan
	Layout  media.Layout // no cards where the plan is a conflict
}

// Lay finds the targets, plans, and lays the cards out for them. Nothing is opened
// for writing yet.
func (j Job) Lay(ctx context.Context) (*Laid, error) {
	l := &Laid{Job: j}
	for _, path := range j.To {
		t, err := j.target(ctx, path)
		if err != nil {
			return nil, err
		}
		if other := l.sharing(path); other != nil {
			return nil, badJob("%s and %s are the same target: name each target once", other.Path, path)
		}
		l.Targets = append(l.Targets, t)
	}
	if err := l.plan(1); err != nil {
		return nil, err
	}
	// With several sets, a card has to fit the smallest of the targets that get it; how
	// many sets there are is known only once the cards are.
	if sets := len(l.Targets) / max(1, len(l.Layout.Cards)); sets > 1 {
		if err := l.plan(sets); err != nil {
			return nil, err
		}
	}
	return l, nil
}

func (l *Laid) plan(sets int) (err error) {
	l.Layout, l.Plan, err = media.Visit(l.Shop, l.Vessel, l.Visit, l.sets().Smallest(sets)...)
	return err
}

// sets are the targets, by the bytes that their cards have.
func (l *Laid) sets() (sets media.TargetSets) {
	for _, t := range l.Targets {
		sets = append(sets, t.Bytes)
	}
	return sets
}

// NeedsNoCard reports whether there is nothing to write.
func (l *Laid) NeedsNoCard() bool { return len(l.Layout.Cards) == 0 }

// Signing is how the records of cards are signed. The zero value signs none.
type Signing struct {
	Sign   func(record []byte) ([]byte, error)
	Trusts []*manifest.Trust // by whom they are then expected to be signed
}

// Run is a job that is ready: all that can fail before the first byte is written has
// been tried, but for what is on the targets.
type Run struct{ *Laid }

// Begin gives every target its card, and tries what can fail before anything is
// touched.
func (l *Laid) Begin(ctx context.Context, s Signing) (*Run, error) {
	cards := len(l.Layout.Cards)
	if !l.sets().Whole(cards) {
		return nil, badJob("%s needs %s, and %s named: give one %s for each card, in their order",
			l.Vessel.Name, counted(cards, "card"), counted(len(l.Targets), "target"), l.Words.For(NameTarget))
	}
	text, err := l.InstallOrder(l.Plan)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(l.provable(), l.ejectable()); err != nil {
		return nil, err
	}
	for i, t := range l.Targets {
		t.Card, t.signers = l.Layout.Cards[i%cards], s.Trusts
		t.job = media.Job{Layout: l.Layout, Card: t.Card, Packages: l.Packages, InstallOrder: text, Sign: s.Sign}
		t.commands = l.Commands
		if t.Kind == folder {
			continue
		}
		if _, err := t.job.Prepare(t.Bytes); err != nil {
			return nil, fmt.Errorf("preparing %s: %w", t.Path, err)
		}
	}
	return &Run{l}, l.checkPackages(ctx)
}

func (l *Laid) provable() error {
	for _, t := range l.Targets {
		if l.Capacity != "" && t.Kind != driveOrPart {
			return badJob("%s is for drives: %s is not one", l.Words.For(ProveCapacity), t.Path)
		}
	}
	return nil
}

func (l *Laid) ejectable() error {
	for _, t := range l.Targets {
		if !l.Eject || t.Kind == driveOrPart {
			return nil
		}
	}
	return badJob("%s is for drives: %s is not one", l.Words.For(Eject), l.Targets[0].Path)
}

// checkPackages looks for every package before anything is touched. Where a target
// can't be put back as it was, the packages are also read whole first: a wrong one
// must not cost a card.
func (l *Laid) checkPackages(ctx context.Context) error {
	var total int64
	whole := false
	sources := map[media.Source][]media.Source{} // of each package what goes on cards
	for _, t := range l.Targets {
		whole = whole || t.Kind != image
		for _, f := range t.Card.Files {
			if err := l.Packages.There(f.Source); err != nil {
				return err
			}
			of := f.Source
			of.Member = ""
			if _, err := l.Packages.Find(of); err == nil {
				if sources[of] == nil {
					total += of.Size
				}
				sources[of] = append(sources[of], f.Source)
			}
		}
	}
	if !whole {
		return nil
	}
	progress, done := l.Watch("checking packages", total)
	defer done()
	for of, onCards := range sources {
		err := l.Packages.Check(of, func(n int) { progress("", int64(n)) })
		if err != nil && !l.Packages.Elsewhere(onCards...) {
			return err
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("checking packages, before anything was written: %w", err)
		}
	}
	return nil
}

// counted writes a count with its noun: 1 card, 2 cards.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
