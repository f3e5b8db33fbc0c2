package unchanged

import (
	"context"
	"errors"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Check checks the ledger against what is remembered of it, and remembers the outcome.
// What was read before and holds since is read again only where again is set. Older
// states that were accepted here are given apart: a check shows them.
func (l Ledger) Check(ctx context.Context, against store.CheckOptions, again bool) (store.CheckReport, []store.Accepted, error) {
	was, is, server := l.recall(), store.Fingerprint(l.Address), store.IsPostgres(l.Address)
	if !again && (server || is != "" && is == was.File) {
		r, err := l.checkNew(ctx, against, was.Checked)
		return r, was.Accepted, err
	}
	against.Saved = append(against.Saved, was.Heads)
	r, err := store.CheckAt(ctx, l.Address, against)
	if err != nil {
		return r, nil, err
	}
	if r.Ledger != "" && was.Ledger != "" && r.Ledger != was.Ledger {
		l.Tell(Notice{Kind: AnotherLedger, Checked: was.Checked})
	}
	heads, holds := headsChecked(r)
	switch {
	case holds && server && was.Ledger != "":
		was.Checked = heads.Taken
		_ = was.Save(store.RememberedIn(l.Memory)) // where it can't be kept the next check says the time before
	case holds && !server:
		l.remember(is, was, heads)
	}
	return r, was.Accepted, nil
}

// checkNew checks what came since a ledger was last read.
func (l Ledger) checkNew(ctx context.Context, against store.CheckOptions, checked time.Time) (store.CheckReport, error) {
	opened, err := l.open(ctx, store.Options{ReadOnly: true})
	if err != nil {
		return store.CheckReport{}, err
	}
	if store.IsPostgres(l.Address) {
		if _, checked, err = opened.Followed(ctx); err != nil {
			return store.CheckReport{}, errors.Join(err, opened.Close())
		}
	}
	r, err := opened.CheckNew(ctx, against, checked)
	return r, errors.Join(err, opened.Close())
}

// headsChecked are the heads of a ledger that a check found whole, but for writers whom
// it doesn't know.
func headsChecked(r store.CheckReport) (ledger.Heads, bool) {
	for _, b := range r.Breaks {
		if b.Kind != ledger.WriterUnknown {
			return ledger.Heads{}, false
		}
	}
	h := ledger.Heads{Format: 1, Ledger: r.Ledger, Taken: time.Now().UTC().Truncate(time.Second)}
	for _, c := range r.Chains {
		if c.Head.Seq > 0 {
			h.Heads = append(h.Heads, c.Head)
		}
	}
	return h, true
}
