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
}

// Covers tells whether it is of a variant. One that the shop noted without a
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
	for i := range facts {
		f := &facts[i]
		if w := f.Entry.Withdrawal; w != nil {
			list = append(list, Withdrawn{
				Maker: w.Maker, Model: w.Model, Version: w.Version, Variant: w.Variant, Why: w.Why,
				At: f.Entry.At, By: f.Technician(), Event: f.Event.ID,
			})
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
// whoever goes by the catalogue goes by the ledger too.
func (l Withdrawals) Mark(catalogue []*manifest.Model) {
	for _, m := range catalogue {
		for _, r := range m.Releases {
			if w := l.Of(m.ID, r.Variant, r.Version); w != nil && r.Withdrawn == "" {
				r.Withdrawn = w.Why
			}
		}
	}
}
