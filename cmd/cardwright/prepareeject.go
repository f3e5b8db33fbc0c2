package main

import (
	"errors"
	"fmt"

	"cardwright/media"
	"cardwright/media/drive"
)

// ejectable refuses --eject where there is nothing to eject.
func (p *preparing) ejectable() error {
	if !p.options.eject {
		return nil
	}
	for _, t := range p.targets {
		if t.kind == driveTarget {
			return nil
		}
	}
	return usage(fmt.Errorf("--eject is for drives: %s is not one", p.targets[0].path))
}

// release gives the drives back: the last act, since a system that was told of
// a new card may mount it and write to it. A card that is good stays so
// whatever becomes of this.
func (p *preparing) release(outcomes []media.Outcome) {
	for i, t := range p.targets {
		if t.drive == nil {
			continue
		}
		if p.options.eject && outcomes[i].Err == nil {
			t.unreleased = t.drive.Eject()
			t.ejected = t.unreleased == nil
		}
		if !t.ejected {
			t.unreleased = errors.Join(t.unreleased, t.drive.TellSystem())
		}
		t.unreleased = errors.Join(t.unreleased, t.finish(outcomes[i].Err == nil))
	}
}

// takeOut says what is to be done with a proven card at once.
func (t *cardTarget) takeOut() string {
	const why = "a computer that mounts it may write to it, and then it is no longer the card that was proven."
	switch {
	case t.ejected:
		return "The card was ejected: take it out. Put into a computer again, it may be written to."
	case errors.Is(t.unreleased, drive.ErrStays):
		return "It could not be ejected from here. Take the card out by hand now: " + why
	}
	return "Take the card out now: " + why
}

// orPulledOut is a failure, or that the card was pulled out: whatever came of
// that says less.
func (t *cardTarget) orPulledOut(failure error) error {
	if failure == nil || media.Interrupted(failure) {
		return failure
	}
	if gone := t.drive.Gone(); gone != nil {
		return gone
	}
	return failure
}
