package audit

import (
	"context"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Unheard says that neither the ledger nor the catalogue has heard of a release:
// "nobody has it" is no answer to a name that was mistyped.
type Unheard struct {
	Model   string
	Version version.V
	NoModel bool     // the catalogue doesn't have the model
	Has     []string // the models, or the model's versions, that it has
	Nearest string   // one of them that may be meant; ""
}

func (e *Unheard) Error() string { return ErrNothing.Error() }
func (e *Unheard) Unwrap() error { return ErrNothing }

// Heard reports whether a release about which nothing was found is one that there is: in
// the catalogue, or in the ledger where the filter left it out. The error is *Unheard
// where it isn't.
func Heard(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, model string, v version.V) error {
	u, err := OfRelease(ctx, l, model, v, Filter{})
	if err != nil || !u.Nothing() {
		return err
	}
	e := &Unheard{Model: model, Version: v}
	i := slices.IndexFunc(catalogue, func(m *manifest.Model) bool { return m.ID == model })
	if e.NoModel = i < 0; e.NoModel {
		for _, m := range catalogue {
			e.Has = append(e.Has, m.ID)
		}
		e.Nearest = manifest.Nearest(model, e.Has)
		return e
	}
	for _, r := range catalogue[i].Releases {
		if ledger.VersionKey(r.Version) == ledger.VersionKey(v) {
			return nil
		}
		if !slices.Contains(e.Has, string(r.Version)) {
			e.Has = append(e.Has, string(r.Version))
		}
	}
	e.Nearest = manifest.Nearest(string(v), e.Has)
	return e
}
