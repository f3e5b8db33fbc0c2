package unchanged

import (
	"context"
	"errors"
	"fmt"

	"cardwright/verify/ledger/store"
)

// Accept takes an older state of the ledger for the ledger, on somebody's word, and
// remembers it with why. A ledger that was edited or damaged is never accepted: then
// the error is *Changed. It wraps store.ErrNothingLost where every event is there that
// was there before.
func (l Ledger) Accept(ctx context.Context, against store.CheckOptions, why string) (a store.Accepted, err error) {
	was := l.recall()
	r, err := store.CheckAt(ctx, l.Address, against)
	if err != nil {
		return a, fmt.Errorf("checking the ledger: %w", err)
	}
	if fails(r) {
		return a, &Changed{r}
	}
	opened, err := l.open(ctx, store.Options{})
	if err != nil {
		return a, err
	}
	a, err = opened.Accept(ctx, was, why)
	if err = errors.Join(err, opened.Close()); err != nil {
		return a, err
	}
	if !store.IsPostgres(l.Address) {
		heads, _ := headsChecked(r)
		was.Accept(a)
		l.remember(store.Fingerprint(l.Address), was, heads)
	}
	return a, nil
}
