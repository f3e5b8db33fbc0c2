package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
	"cardwright/verify/ledger/unchanged"
)

// ledgerAsked is what a run has asked of the shop's ledger: once is enough.
type ledgerAsked struct {
	known   map[string]*known.Joined // by vessel, of those that were looked up
	unasked error                    // why it couldn't be asked
	looked  *ledgerLooked            // whether it holds; nil: nobody has looked yet
}

// ledgerLooked is the result of checking a ledger.
type ledgerLooked struct {
	checked time.Time // when every event was last read
	err     error     // wraps *unchanged.Changed where it doesn't hold
}

// ledgerHolds looks, before an answer is drawn from the shop's ledger, whether it is
// still what was signed.
func ledgerHolds(ctx context.Context, s *session, shop *manifest.Shop) error {
	if s.looked == nil {
		checked, err := ledgerAt(&s.terminal, ledgerAddress(shop)).Holds(ctx)
		if _, changed := errors.AsType[*unchanged.Changed](err); changed {
			err = fmt.Errorf("%w; see cardwright audit check", err)
		}
		s.looked = &ledgerLooked{checked, err}
	}
	return s.looked.err
}

// ledgerAddress is where a shop's ledger is.
func ledgerAddress(shop *manifest.Shop) string {
	if store.IsPostgres(shop.Ledger) {
		return shop.Ledger
	}
	return filepath.Join(shop.Dir, filepath.FromSlash(shop.Ledger))
}

// memoryOf is where what is known of a ledger's last check is kept; "" where
// nothing can be.
func memoryOf(address string) string {
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return store.MemoryAt(cache, address)
}

// ledgerAt is the ledger at an address, with what this computer remembers of it.
func ledgerAt(t *terminal, address string) unchanged.Ledger {
	return unchanged.Ledger{
		Address: address, Memory: memoryOf(address), Words: commandWords,
		Tell: func(n unchanged.Notice) { t.complain(noticeText(n)) },
	}
}

func noticeText(n unchanged.Notice) string {
	switch n.Kind {
	case unchanged.CheckingFirst:
		return fmt.Sprintf("checking all %d events of the ledger first: it has changed since the last check, or this computer has not checked it yet", n.Events)
	case unchanged.CopyingFirst:
		return fmt.Sprintf("checking %d events of the ledger first: this computer has not checked them yet", n.Events)
	case unchanged.AnotherLedger:
		return fmt.Sprintf("this is another ledger than the one that was checked here on %s", clock(n.Checked))
	case unchanged.Unreadable:
		return fmt.Sprintf("left out %s of the ledger: a newer cardwright wrote them, and this one can't read them", counted(int(n.Events), "event"))
	}
	return n.Text
}

// openLedger opens a shop's ledger to read it.
func openLedger(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	address := ledgerAddress(shop)
	l, err := store.Open(ctx, address, store.Options{ReadOnly: true, Memory: memoryOf(address)})
	if err != nil {
		return nil, err
	}
	l.Believe(believed(shop))
	return l, nil
}

// openToWrite opens a shop's ledger to add to it, and makes it where there is none.
func openToWrite(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	address := ledgerAddress(shop)
	return store.Open(ctx, address, store.Options{Create: true, Memory: memoryOf(address)})
}

// openLedgerIfAny opens a shop's ledger to read it; nil where there is none.
func openLedgerIfAny(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	return l, err
}
