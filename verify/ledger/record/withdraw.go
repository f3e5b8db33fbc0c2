package record

import (
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Withdrawals are the withdrawn releases that a ledger knows.
type Withdrawals struct {
	Standing known.Withdrawals
	Lifted   known.Withdrawals // taken back since
}

// Lift is the entries that take back every withdrawal of a release; one without a
// variant is of all variants. now is when that is.
func (w Withdrawals) Lift(release ledger.Withdrawal, why string, now time.Time) (entries []ledger.Entry) {
	for _, x := range w.Standing {
		if x.Model == release.Model && ledger.VersionKey(x.Version) == ledger.VersionKey(release.Version) && (release.Variant == "" || x.Variant == release.Variant) {
			entries = append(entries, ledger.Entry{
				At: After(now, x.Told), Kind: ledger.Correction, Correction: &ledger.Correcting{Of: x.Event.String(), Why: why},
			})
		}
	}
	return entries
}

// Follow writes into the catalogue what the ledger withdrew, and takes out what
// was lifted there since. It gives the files that it changed.
func (w Withdrawals) Follow(shop *manifest.Shop) ([]string, error) {
	return changeWithdrawn(shop, w.inCatalogue)
}

// inCatalogue is why a release is withdrawn, "" where it isn't, and whether the
// catalogue doesn't say so yet. What somebody wrote there by hand stays.
func (w Withdrawals) inCatalogue(m *manifest.Model, r *manifest.Release) (why string, changes bool) {
	if stands := w.Standing.Of(m.ID, r.Variant, r.Version); stands != nil {
		return stands.Why, r.Withdrawn == ""
	}
	lifted := slices.ContainsFunc(w.Lifted, func(x known.Withdrawn) bool {
		return x.Model == m.ID && ledger.VersionKey(x.Version) == ledger.VersionKey(r.Version) && x.Covers(r.Variant) && x.Why == r.Withdrawn
	})
	return "", r.Withdrawn != "" && lifted
}

// WithdrawnInCatalogue reports whether the catalogue says that a release is
// withdrawn, whoever wrote that.
func WithdrawnInCatalogue(shop *manifest.Shop, release ledger.Withdrawal) bool {
	return slices.ContainsFunc(shop.Models, func(m *manifest.Model) bool {
		return slices.ContainsFunc(m.Releases, func(r *manifest.Release) bool { return saysWithdrawn(release, m, r) })
	})
}

// LiftInCatalogue takes out of the catalogue that a release is withdrawn. It gives
// the files that it changed.
func LiftInCatalogue(shop *manifest.Shop, release ledger.Withdrawal) ([]string, error) {
	return changeWithdrawn(shop, func(m *manifest.Model, r *manifest.Release) (string, bool) {
		return "", saysWithdrawn(release, m, r)
	})
}

func saysWithdrawn(w ledger.Withdrawal, m *manifest.Model, r *manifest.Release) bool {
	return m.ID == w.Model && r.Withdrawn != "" && ledger.VersionKey(r.Version) == ledger.VersionKey(w.Version) && (w.Variant == "" || r.Variant == w.Variant)
}

// changeWithdrawn writes what change gives into releases of the catalogue; "" is
// none.
func changeWithdrawn(shop *manifest.Shop, change func(*manifest.Model, *manifest.Release) (string, bool)) ([]string, error) {
	files := []string{}
	for _, m := range shop.Models {
		if !slices.ContainsFunc(m.Releases, func(r *manifest.Release) bool { _, is := change(m, r); return is }) {
			continue
		}
		file, now, err := edit.OpenLoaded(shop.Dir, m.At(""))
		if err != nil {
			return files, err
		}
		model := now.Model(m.ID)
		if model == nil {
			return files, &edit.Changed{Path: file.Name()}
		}
		for i, r := range model.Releases {
			why, is := change(model, r)
			way := edit.Way{"releases", i, "withdrawn"}
			switch {
			case !is:
			case why == "":
				err = file.Delete(way)
			default:
				err = file.Set(way, why, edit.ReleaseKeys)
			}
			if err != nil {
				return files, err
			}
		}
		if err := edit.Save(shop.Dir, file); err != nil {
			return files, err
		}
		files = append(files, file.Name())
	}
	return files, nil
}
