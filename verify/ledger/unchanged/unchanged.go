// Package unchanged reports, before an answer is drawn from a ledger, whether it is
// still what was signed. What was checked is remembered on this computer, outside the
// ledger: a file that nothing has written to since isn't read again, and of a server
// only what is new. It says nothing to a person by itself: what has to be said while
// it works it gives to Tell, as values.
package unchanged

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cardwright/manifest/problem"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Ledger is a ledger, and where this computer remembers that it was checked.
type Ledger struct {
	Address string        // a file, or a postgres:// address
	Memory  string        // see store.MemoryAt; "" where nothing can be remembered
	Words   problem.Words // for store.Acts, in advice
	Tell    func(Notice)  // what a person should know meanwhile
}

// Notice is one thing that a person should know while a ledger is looked at.
type Notice struct {
	Kind    NoticeKind
	Events  int64     // of CheckingFirst, CopyingFirst and Unreadable
	Checked time.Time // of AnotherLedger: when the one before was checked
	Text    string    // of Noted
}

// NoticeKind says what a notice is; the list is closed.
type NoticeKind string

// The kinds of notices.
const (
	CheckingFirst NoticeKind = "every event is checked first"
	CopyingFirst  NoticeKind = "a server's events are checked first" // as they are copied
	AnotherLedger NoticeKind = "another ledger stands here"
	Unreadable    NoticeKind = "events of a newer cardwright are left out"
	Noted         NoticeKind = "a note of the check"
)

// Changed says that a ledger isn't what was signed, or what it was when it was last
// checked: none of its answers can be trusted.
type Changed struct{ Report store.CheckReport }

func (e *Changed) Error() string {
	text := fmt.Sprintf("the ledger is %s", e.Report.Verdict)
	if b := e.Report.First; b != nil {
		text += fmt.Sprintf(": %s, %s", b.Kind, b.Meaning)
	}
	return text
}

// manyEvents are announced before they are checked: that takes a while.
const manyEvents = 20_000

// Holds looks, before an answer is drawn, whether the ledger is still what was signed:
// it is the one that was checked last, or what is new is checked now. checked is when
// every event was last read; zero where there is no ledger. The error is *Changed where
// the ledger doesn't hold.
func (l Ledger) Holds(ctx context.Context) (checked time.Time, err error) {
	if store.IsPostgres(l.Address) {
		return l.serverHolds(ctx)
	}
	is, was := store.Fingerprint(l.Address), l.recall()
	if is != "" && is == was.File {
		return was.Checked, nil
	}
	report, heads, err := l.checkFile(ctx, was)
	switch {
	case errors.Is(err, store.ErrNoLedger):
		return checked, nil
	case err != nil:
		return checked, err
	case fails(report):
		return checked, &Changed{report}
	}
	return l.remember(is, was, heads), nil
}

func fails(r store.CheckReport) bool {
	return r.Verdict == store.Edited || r.Verdict == store.Damaged
}

// checkFile reads a ledger file whole.
func (l Ledger) checkFile(ctx context.Context, was store.Remembered) (report store.CheckReport, heads ledger.Heads, err error) {
	file, err := l.open(ctx, store.Options{ReadOnly: true})
	if err != nil {
		return report, heads, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	n, err := file.Count(ctx)
	if err != nil {
		return report, heads, err
	}
	if n > manyEvents {
		l.Tell(Notice{Kind: CheckingFirst, Events: n})
	}
	if was.Ledger != "" && was.Ledger != file.ID() {
		l.Tell(Notice{Kind: AnotherLedger, Checked: was.Checked})
	}
	report, err = file.Check(ctx, store.CheckOptions{Words: l.Words, Saved: []ledger.Heads{was.Heads}})
	if err != nil {
		return report, heads, err
	}
	heads, err = file.Heads(ctx)
	return report, heads, err
}

// serverHolds looks what came to a server since it was last asked, and whether what
// was there still is.
func (l Ledger) serverHolds(ctx context.Context) (checked time.Time, err error) {
	server, err := l.open(ctx, store.Options{ReadOnly: true})
	if errors.Is(err, store.ErrNoLedger) {
		return checked, nil
	}
	if err != nil {
		return checked, err
	}
	report, checked, err := server.Followed(ctx)
	if err = errors.Join(err, server.Close()); err != nil {
		return checked, err
	}
	for _, n := range report.Notes {
		l.Tell(Notice{Kind: Noted, Text: n})
	}
	switch {
	case fails(report):
		return checked, &Changed{report}
	case report.Verdict == store.Unproven:
		l.Tell(Notice{Kind: Unreadable, Events: int64(len(report.Breaks) + report.More)})
	}
	return checked, nil
}

// open opens the ledger; of a server what is remembered here goes with it.
func (l Ledger) open(ctx context.Context, o store.Options) (*store.Ledger, error) {
	o.Memory, o.Words = l.Memory, l.Words
	o.Slow = func(events int64) { l.Tell(Notice{Kind: CopyingFirst, Events: events}) }
	return store.Open(ctx, l.Address, o)
}

func (l Ledger) recall() store.Remembered { return store.Recall(store.RememberedIn(l.Memory)) }

// remember keeps that a ledger file was checked whole just now, and gives when; is is
// its fingerprint from before.
func (l Ledger) remember(is string, was store.Remembered, heads ledger.Heads) time.Time {
	now := store.Remembered{Ledger: heads.Ledger, File: is, Checked: time.Now().UTC().Truncate(time.Second), Heads: heads, Accepted: was.Accepted}
	if l.Memory != "" && is != "" && is == store.Fingerprint(l.Address) {
		_ = now.Save(store.RememberedIn(l.Memory)) // where it can't be kept the next answer checks again
	}
	return now.Checked
}
