package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// ledgerChanged says that a ledger isn't what was signed, or what it was when it
// was last checked: no answer of it can be gone by.
type ledgerChanged struct{ report store.CheckReport }

func (e *ledgerChanged) Error() string {
	first := "see cardwright audit check"
	if b := e.report.First; b != nil {
		first = fmt.Sprintf("%s, %s; see cardwright audit check", b.Kind, b.Meaning)
	}
	return fmt.Sprintf("the ledger is %s: %s", e.report.Verdict, first)
}

// manyEvents are told before they are checked: that takes a while.
const manyEvents = 20_000

// memoryOf is where what is known of a ledger's last check is kept; "" where
// nothing can be.
func memoryOf(address string) string {
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return store.MemoryAt(cache, address)
}

// remembered is where the last check of a shop's ledger file is kept.
func remembered(shop *manifest.Shop) string { return store.RememberedIn(memoryOf(ledgerAddress(shop))) }

// ledgerHolds looks, before an answer is drawn from the shop's ledger, that it is
// still what was signed: it is the file that was checked last, or it is checked
// again. The error is *ledgerChanged where it isn't.
func (s *shopLedger) ledgerHolds(ctx context.Context, shop *manifest.Shop) error {
	if s.ledgerChecked != nil {
		return *s.ledgerChecked
	}
	err := s.lookAtLedger(ctx, shop)
	s.ledgerChecked = &err
	return err
}

func (s *shopLedger) lookAtLedger(ctx context.Context, shop *manifest.Shop) error {
	address, path := ledgerAddress(shop), remembered(shop)
	if store.IsPostgres(address) {
		return s.lookAtServer(ctx, address)
	}
	is := store.Fingerprint(address)
	was := store.Recall(path)
	if is != "" && is == was.File {
		s.checkedWhole = was.Checked
		return nil
	}
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return err
	}
	report, heads, err := s.checkLedger(ctx, l, was)
	if err = errors.Join(err, l.Close()); err != nil {
		return err
	}
	if report.Verdict == store.Edited || report.Verdict == store.Damaged {
		return &ledgerChanged{report}
	}
	s.checkedWhole = rememberChecked(address, is, was, heads)
	return nil
}

// rememberChecked remembers that a ledger file was checked whole just now; is is its
// fingerprint from before.
func rememberChecked(address, is string, was store.Remembered, heads ledger.Heads) time.Time {
	now := store.Remembered{Ledger: heads.Ledger, File: is, Checked: time.Now().UTC().Truncate(time.Second), Heads: heads, Accepted: was.Accepted}
	if path := store.RememberedIn(memoryOf(address)); path != "" && is != "" && is == store.Fingerprint(address) {
		_ = now.Save(path) // the next answer checks again
	}
	return now.Checked
}

// lookAtServer looks what came to a server since it was last asked, and whether
// what was there still is.
func (s *shopLedger) lookAtServer(ctx context.Context, address string) error {
	l, err := store.Open(ctx, address, store.Options{ReadOnly: true, Memory: memoryOf(address), Slow: s.tellSlow, Words: commandWords})
	if errors.Is(err, store.ErrNoLedger) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("opening the ledger: %w", err)
	}
	report, checked, err := l.Followed(ctx)
	if err = errors.Join(err, l.Close()); err != nil {
		return err
	}
	s.checkedWhole = checked
	for _, n := range report.Notes {
		s.complain(n)
	}
	switch report.Verdict {
	case store.Edited, store.Damaged:
		return &ledgerChanged{report}
	case store.Unproven:
		s.complain(fmt.Sprintf("%s in the ledger can't be read by this cardwright and are left out: a newer one wrote them", counted(len(report.Breaks)+report.More, "event")))
	}
	return nil
}

// tellOther says that another ledger stands in the place of one that was checked: a
// restored one, say, which has to have what that one had.
func (s *shopLedger) tellOther(was store.Remembered) {
	s.complain(fmt.Sprintf("another ledger stands here than the one that was checked on %s", clock(was.Checked)))
}

// tellSlow says why an answer takes a while.
func (s *shopLedger) tellSlow(events int64) {
	s.complain(fmt.Sprintf("checking %d events of the ledger first: nothing is remembered here of them", events))
}

func (s *shopLedger) checkLedger(ctx context.Context, l *store.Ledger, was store.Remembered) (store.CheckReport, ledger.Heads, error) {
	n, err := l.Count(ctx)
	if err != nil {
		return store.CheckReport{}, ledger.Heads{}, err
	}
	if n > manyEvents {
		s.complain(fmt.Sprintf("checking the ledger first, %d events: it was written to by something else, or nothing is remembered here of an earlier check", n))
	}
	if was.Ledger != "" && was.Ledger != l.ID() {
		s.tellOther(was)
	}
	report, err := l.Check(ctx, store.CheckOptions{Words: commandWords, Saved: []ledger.Heads{was.Heads}})
	if err != nil {
		return report, ledger.Heads{}, err
	}
	heads, err := l.Heads(ctx)
	return report, heads, err
}

// keepChecked remembers, after this program has added to a ledger that was
// checked, that it still is; before is its fingerprint from before.
func keepChecked(shop *manifest.Shop, before string, heads ledger.Heads) {
	path := remembered(shop)
	was := store.Recall(path)
	if before == "" || was.File != before {
		return
	}
	was.File, was.Heads = store.Fingerprint(ledgerAddress(shop)), heads
	_ = was.Save(path) // the next answer checks again
}

// adopt remembers of a ledger that this program alone wrote to that it still holds;
// before is its fingerprint from before. Where something else wrote too it is
// checked again.
func adopt(ctx context.Context, shop *manifest.Shop, before string) {
	if before == "" {
		return
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return
	}
	heads, err := l.Heads(ctx)
	if errors.Join(err, l.Close()) == nil {
		keepChecked(shop, before, heads)
	}
}
