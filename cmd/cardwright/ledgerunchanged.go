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

// remembered is where the last check of a shop's ledger is kept; "" where nothing
// can be.
func remembered(shop *manifest.Shop) string {
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return store.RememberedAt(cache, ledgerAddress(shop))
}

// ledgerHolds looks, before an answer is drawn from the shop's ledger, that it is
// still what was signed: it is the file that was checked last, or it is checked
// again. The error is *ledgerChanged where it isn't.
func (s *session) ledgerHolds(ctx context.Context, shop *manifest.Shop) error {
	if s.ledgerChecked != nil {
		return *s.ledgerChecked
	}
	err := s.lookAtLedger(ctx, shop)
	s.ledgerChecked = &err
	return err
}

func (s *session) lookAtLedger(ctx context.Context, shop *manifest.Shop) error {
	address, path := ledgerAddress(shop), remembered(shop)
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
	s.checkedWhole = time.Now().UTC().Truncate(time.Second)
	now := store.Remembered{Ledger: report.Ledger, File: is, Checked: s.checkedWhole, Heads: heads}
	if path != "" && is != "" && is == store.Fingerprint(address) {
		_ = now.Save(path) // the next answer checks again
	}
	return nil
}

func (s *session) checkLedger(ctx context.Context, l *store.Ledger, was store.Remembered) (store.CheckReport, ledger.Heads, error) {
	n, err := l.Count(ctx)
	if err != nil {
		return store.CheckReport{}, ledger.Heads{}, err
	}
	if n > manyEvents {
		s.complain(fmt.Sprintf("checking the ledger first, %d events: it was written to by something else, or nothing is remembered here of an earlier check", n))
	}
	o := store.CheckOptions{Words: commandWords}
	switch {
	case was.Ledger == l.ID():
		o.Saved = []ledger.Heads{was.Heads}
	case was.Ledger != "":
		s.complain(fmt.Sprintf("another ledger stands here than the one that was checked on %s", clock(was.Checked)))
	}
	report, err := l.Check(ctx, o)
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
