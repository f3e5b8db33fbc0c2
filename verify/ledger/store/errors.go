package store

import (
	"errors"
	"fmt"
	"path/filepath"
)

// What can be wrong with a ledger or its place. Each is wrapped with what was
// found.
var (
	ErrNoLedger  = errors.New("there is no ledger here")
	ErrNotLedger = errors.New("this is not a ledger")
	ErrNewer     = errors.New("a newer cardwright made this ledger: update cardwright on this laptop")
	errOlder     = errors.New("an older cardwright made this ledger, and it can't be brought up to date from here: let its owner run a ledger sync with it once; nothing is lost")
	ErrDamaged   = errors.New("the database is damaged: keep the file as it is and salvage it into a new ledger")
	ErrSchema    = errors.New("the database is not laid out as cardwright makes it: somebody changed it; salvage it into a new ledger")
	ErrReadOnly  = errors.New("the ledger can only be read here: nothing was written")
	ErrFull      = errors.New("no space is left on the disk with the ledger: nothing was written; free some space and try again")
	ErrLocked    = errors.New("another program holds the ledger: nothing was written; close it and try again")
	ErrAway      = errors.New("the database server doesn't answer: work on with a ledger file and sync later")
	errRights    = errors.New("the database server doesn't allow this: ask the ledger's owner for the rights")
	ErrRecorded  = errors.New("this visit is in the ledger already: nothing was written")
	ErrUncertain = errors.New("the database went away while it was writing: the events may be there or not; check before you try again")
)

// placedError is an error whose own words name a place.
type placedError struct {
	says string
	err  error
}

func (e *placedError) Error() string { return e.says }
func (e *placedError) Unwrap() error { return e.err }

// inPlace names where there is no room, or where nothing can be written: that of
// a file that was to be made need not be where the ledger is.
func inPlace(file string, err error) error {
	err = explainFile(err)
	where, says := filepath.Dir(file), ""
	switch {
	case errors.Is(err, ErrFull):
		says = "no space is left in %s: %s was not made; free some there, or name another place (%v)"
	case errors.Is(err, ErrReadOnly):
		says = "nothing can be written in %s: %s was not made; name another place (%v)"
	default:
		return err
	}
	return &placedError{fmt.Sprintf(says, where, filepath.Base(file), rootCause(err)), err}
}

// rootCause is what the system said.
func rootCause(err error) error {
	for {
		switch wrapped := err.(type) {
		case interface{ Unwrap() error }:
			if wrapped.Unwrap() == nil {
				return err
			}
			err = wrapped.Unwrap()
		case interface{ Unwrap() []error }:
			all := wrapped.Unwrap()
			if len(all) == 0 {
				return err
			}
			err = all[len(all)-1]
		default:
			return err
		}
	}
}
