package unchanged

import (
	"context"
	"errors"
	"fmt"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Add adds to the ledger what add appends, and makes the ledger where there is none.
// Of a file that held before it is remembered that it still does: this program alone
// wrote to it.
func (l Ledger) Add(ctx context.Context, add func(*store.Ledger) error) error {
	before := store.Fingerprint(l.Address)
	to, err := l.open(ctx, store.Options{Create: true})
	if err != nil {
		return err
	}
	err = add(to)
	heads, unread := to.Heads(context.WithoutCancel(ctx))
	if err = errors.Join(err, to.Close()); err != nil {
		return fmt.Errorf("noting it in the ledger: %w", err)
	}
	if unread == nil {
		l.stillHolds(before, heads)
	}
	return nil
}

// Wrote remembers of a ledger file that held, and that this program alone wrote to
// since, that it still holds; before is its store.Fingerprint from before. Where
// something else wrote to it, too, the next answer checks it again.
func (l Ledger) Wrote(ctx context.Context, before string) {
	if before == "" {
		return
	}
	file, err := l.open(ctx, store.Options{ReadOnly: true})
	if err != nil {
		return
	}
	heads, err := file.Heads(ctx)
	if errors.Join(err, file.Close()) == nil {
		l.stillHolds(before, heads)
	}
}

func (l Ledger) stillHolds(before string, heads ledger.Heads) {
	was := l.recall()
	if before == "" || was.File != before {
		return
	}
	was.File, was.Heads = store.Fingerprint(l.Address), heads
	_ = was.Save(store.RememberedIn(l.Memory)) // where it can't be kept the next answer checks again
}
