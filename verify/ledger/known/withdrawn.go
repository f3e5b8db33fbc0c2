package known

import (
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Withdrawn says that nobody should run a release any longer.
type Withdrawn struct {
	Maker     string    `json:"maker,omitempty"`
	Model     string    `json:"model"`
	Version   version.V `json:"version"`
	Variant   string    `json:"variant"`
	Why       string    `json:"why"`
	At        time.Time `json:"at"` // zero: the catalogue says so
	By        string    `json:"by"` // technician; "" for the catalogue
	Event     ledger.ID `json:"-"`  // zero for the catalogue
	Catalogue bool      `json:"-"`
	Told      time.Time `json:"-"` // when the event, or its last correction, was dated
}

// Covers reports whether it is of a variant. One that the shop noted without a
// variant is of all; the catalogue means exactly what it says.
func (w *Withdrawn) Covers(variant string) bool {
	return w.Variant == variant || w.Variant == "" && !w.Catalogue
}

// Withdrawals are those that stand.
type Withdrawals []Withdrawn

// WithdrawalsOf gives those of the catalogue and of the ledger's events of that
// kind, which come with all their corrections.
func WithdrawalsOf(catalogue []*manifest.Model, events []ledger.Event, trust Trust) Withdrawals {
	var list Withdrawals
	for _, m := range catalogue {
		for _, r := range m.Releases {
			if r.Withdrawn != "" {
				list = append(list, Withdrawn{Maker: m.Maker, Model: m.ID, Version: r.Version, Variant: r.Variant, Why: r.Withdrawn, Catalogue: true})
			}
		}
	}
	facts, _ := Facts(events, trust)
	told := lastTold(events)
	for i := range facts {
		f := &facts[i]
		if w := f.Entry.Withdrawal; w != nil {
			list = append(list, withdrawnBy(w, f.Entry.At, &f.Event, told))
		}
	}
	return list
}

func withdrawnBy(w *ledger.Withdrawal, at time.Time, e *ledger.Event, told map[ledger.ID]time.Time) Withdrawn {
	return Withdrawn{
		Maker: w.Maker, Model: w.Model, Version: w.Version, Variant: w.Variant, Why: w.Why,
		At: at, By: e.Statement.Technician, Event: e.ID, Told: told[e.ID],
	}
}

// lastTold is when each event, or the last of its corrections, was dated.
func lastTold(events []ledger.Event) map[ledger.ID]time.Time {
	told := map[ledger.ID]time.Time{}
	for i := range events {
		e := &events[i].Statement.Entry
		of := events[i].ID
		if e.Correction != nil {
			of, _ = ledger.ParseID(e.Correction.Of) // it was validated
		}
		if e.At.After(told[of]) {
			told[of] = e.At
		}
	}
	return told
}

// LiftedOf gives the withdrawals among events that were taken back.
func LiftedOf(events []ledger.Event, trust Trust) Withdrawals {
	facts, _ := Facts(events, trust)
	stands := map[ledger.ID]bool{}
	for _, f := range facts {
		stands[f.Event.ID] = true
	}
	var list Withdrawals
	told := lastTold(events)
	for i := range events {
		e := &events[i]
		if w := e.Statement.Entry.Withdrawal; w != nil && !stands[e.ID] && (trust == nil || trust(e)) {
			list = append(list, withdrawnBy(w, e.Statement.Entry.At, e, told))
		}
	}
	return list
}

// Of finds the withdrawal of a release; nil where it isn't withdrawn.
func (l Withdrawals) Of(model, variant string, v version.V) *Withdrawn {
	key := ledger.VersionKey(v)
	for i := range l {
		w := &l[i]
		if key != "" && w.Model == model && ledger.VersionKey(w.Version) == key && w.Covers(variant) {
			return w
		}
	}
	return nil
}

// Mark writes into a catalogue in memory what the ledger withdrew, so that
// whoever uses the catalogue uses the ledger's word too.
func (l Withdrawals) Mark(catalogue []*manifest.Model) {
	for _, m := range catalogue {
		for _, r := range m.Releases {
			if w := l.Of(m.ID, r.Variant, r.Version); w != nil && r.Withdrawn == "" {
				r.Withdrawn = w.Why
			}
		}
	}
}
