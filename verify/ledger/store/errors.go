package store

import "errors"

// What can be wrong with a ledger or its place. Each is wrapped with what was
// found.
var (
	ErrNoLedger  = errors.New("there is no ledger here")
	ErrNotLedger = errors.New("this is not a ledger")
	ErrNewer     = errors.New("a newer cardwright made this ledger: update cardwright on this laptop")
	ErrOlder     = errors.New("an older cardwright made this ledger, and it can't be brought up to date from here: let its owner run a ledger sync with it once; nothing is lost")
	ErrDamaged   = errors.New("the database is damaged: keep the file as it is and salvage it into a new ledger")
	ErrSchema    = errors.New("the database is not laid out as cardwright makes it: somebody changed it; salvage it into a new ledger")
	ErrReadOnly  = errors.New("the ledger can only be read here: nothing was written")
	ErrFull      = errors.New("no room is left where the ledger stands: nothing was written; free some and do it again")
	ErrLocked    = errors.New("another program holds the ledger: nothing was written; close it and do it again")
	ErrAway      = errors.New("the database server doesn't answer: work on with a ledger file and sync later")
	ErrRights    = errors.New("the database server doesn't allow this: ask the ledger's owner for the rights")
	ErrRecorded  = errors.New("this visit is in the ledger already: nothing was written")
	ErrUncertain = errors.New("the database went away while it was writing: the events may be there or not; look before doing it again")
)
