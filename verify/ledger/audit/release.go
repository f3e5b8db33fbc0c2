package audit

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// ReleaseUse says where a release is, was, or was carried to.
type ReleaseUse struct {
	Format    int         `json:"format"`
	Model     string      `json:"model"`
	Version   version.V   `json:"version"`
	Withdrawn []Withdrawn `json:"withdrawn"` // where somebody withdrew it

	Replaced []Replaced `json:"replaced,omitempty"` // files that it had before, see Was

	Has     []Use     `json:"has"`     // devices that run it, by vessel
	Had     []Use     `json:"had"`     // devices that ran it and now run something else, were replaced, or are gone
	Carried []Carried `json:"carried"` // cards that carried it
	LeftOut
}

// Replaced is a file that the release had, as the catalogue's history has it.
// Cards that were made before then carry it.
type Replaced struct {
	Variant string        `json:"variant,omitempty"`
	File    string        `json:"file"`
	SHA256  digest.SHA256 `json:"sha256"`
	Until   manifest.Date `json:"until"`
	Why     string        `json:"why"`
}

// Was adds the files that the release had before, of a model's history.
func (u *ReleaseUse) Was(history []*manifest.Past) {
	for _, p := range history {
		if ledger.VersionKey(p.Version) == ledger.VersionKey(u.Version) {
			u.Replaced = append(u.Replaced, Replaced{p.Variant, p.File, p.SHA256, p.Until, p.Why})
		}
	}
}

// Nothing reports whether the ledger says nothing of the release.
func (u *ReleaseUse) Nothing() bool {
	return len(u.Withdrawn)+len(u.Has)+len(u.Had)+len(u.Carried) == 0
}

// Use is one device that runs or ran the release.
type Use struct {
	Vessel Vessel `json:"vessel"`
	Device Device `json:"device"` // what is under this id now
	// Serial is that of the equipment which ran the release; another than the
	// device's where it was replaced since.
	Serial string    `json:"serial"`
	First  time.Time `json:"first"` // when the release was first read off it
	Last   time.Time `json:"last"`  // and last
	// VesselGone: the vessel is no longer served.
	VesselGone bool `json:"vessel_gone,omitempty"`
}

// Replaced reports whether other equipment has its place now.
func (u *Use) Replaced() bool { return u.Serial != u.Device.Serial }

// MayRun reports whether the device may run the release still: it did, a step
// failed since, and nobody has read it.
func (u *Use) MayRun() bool {
	return u.Device.Version == version.Unknown && !u.Device.Gone && !u.Replaced()
}

// Carried is one vessel for which cards carried the release.
type Carried struct {
	Vessel Vessel    `json:"vessel"` // empty where nobody knows whose card it was
	Device string    `json:"device"`
	Card   string    `json:"card"`  // digest of the last one
	Cards  int       `json:"cards"` // different ones
	Good   bool      `json:"good"`  // one at least was read back and called good
	First  time.Time `json:"first"`
	Last   time.Time `json:"last"`
	// VesselGone: the vessel is no longer served.
	VesselGone bool `json:"vessel_gone,omitempty"`
}

// Withdrawn says that a release was withdrawn, by whom and why.
type Withdrawn struct {
	Variant string    `json:"variant"`
	Why     string    `json:"why"`
	At      time.Time `json:"at"` // zero: the catalogue says so
	By      string    `json:"by"` // technician; "" for the catalogue
}

func withdrawnOf(w known.Withdrawn) Withdrawn { return Withdrawn{w.Variant, w.Why, w.At, w.By} }

// covers reports whether a withdrawal is of a variant. One that the shop noted
// without a variant is of all; the catalogue means exactly what it says.
func (w *Withdrawn) covers(variant string) bool {
	return w.Variant == variant || w.Variant == "" && !w.fromCatalogue()
}

func (w *Withdrawn) fromCatalogue() bool { return w.At.IsZero() }

// OfRelease finds every boat that has a release, had it, or had it on a card.
// Versions that compare as equal are the same release. The filter's dates and
// technician ask about the readings and the cards, its berth about the
// vessel.
func OfRelease(ctx context.Context, l *store.Ledger, model string, v version.V, f Filter) (ReleaseUse, error) {
	u := ReleaseUse{Format: format, Model: model, Version: v}
	err := l.Look(ctx, func(q store.Querier) error { return u.ask(ctx, l, q, f) })
	if err != nil {
		return ReleaseUse{}, fmt.Errorf("auditing release %s %s: %w", model, v, err)
	}
	return u, nil
}

func (u *ReleaseUse) ask(ctx context.Context, l *store.Ledger, q store.Querier, f Filter) error {
	u.Withdrawn, u.Has, u.Had, u.Carried = []Withdrawn{}, []Use{}, []Use{}, []Carried{}
	all, left, err := withdrawalsIn(ctx, l, q)
	if err != nil {
		return err
	}
	u.LeftOut = LeftOut{Lines: []Line{}}
	u.note(left)
	for _, w := range all {
		if w.Model == u.Model && ledger.VersionKey(w.Version) == ledger.VersionKey(u.Version) {
			u.Withdrawn = append(u.Withdrawn, withdrawnOf(w))
		}
	}
	again, err := anewIn(ctx, l, q)
	if err != nil {
		return err
	}
	u.Count += again.left.Count
	return errors.Join(u.uses(ctx, q, f, &again), u.carried(ctx, q, f, &again), u.markGone(ctx, l, q))
}

const vesselColumns = `v.vessel, v.name, v.berth, v.imo, v.mmsi, v.hull`

func (v *Vessel) scan() []any { return []any{&v.ID, &v.Name, &v.Berth, &v.IMO, &v.MMSI, &v.Hull} }

// uses finds the devices that read as the release at some time.
func (u *ReleaseUse) uses(ctx context.Context, q store.Querier, f Filter, again *anew) error {
	var ask question
	ask.and("r.model = $%d", u.Model)
	ask.and("r.version_key = $%d AND r.version_key <> ''", ledger.VersionKey(u.Version))
	ask.times(f, "r.at")
	ask.berth(f, "v.berth")
	ask.equal("r.maker", f.Maker)
	join := ""
	if f.Technician != "" {
		join = " JOIN event e ON e.no = r.event"
		ask.equal("e.technician", f.Technician)
	}
	query := `SELECT ` + vesselColumns + `, x.serial, x.first, x.last, d.version_key, ` + deviceColumns + `
		FROM (SELECT r.vessel, r.device, r.serial, min(r.at) AS first, max(r.at) AS last FROM reading r
			JOIN vessel v ON v.vessel = r.vessel` + join + ` WHERE ` + ask.String() + ` GROUP BY r.vessel, r.device, r.serial) x
		JOIN device d ON d.vessel = x.vessel AND d.device = x.device
		JOIN vessel v ON v.vessel = x.vessel ORDER BY x.vessel, x.device, x.serial`
	if f.Berth == "" {
		query = strings.Replace(query, "JOIN vessel v ON v.vessel = r.vessel", "", 1)
	}
	want := ledger.VersionKey(u.Version)
	err := store.Each(ctx, q, query, ask.args, func(r *sql.Rows) error {
		var use Use
		var first, last, key string
		err := scanWith(r, append(use.Vessel.scan(), &use.Serial, &first, &last, &key), &use.Device)
		if err != nil {
			return err
		}
		if again.without(use.Vessel.ID) {
			return nil
		}
		var err1, err2 error
		use.First, err1 = moment(first)
		use.Last, err2 = moment(last)
		u.add(use, key == want)
		return errors.Join(err1, err2)
	})
	return errors.Join(err, again.uses(ctx, q, u, f))
}

// add sorts a use: a device has the release also where only one of two
// writers says so. A reading without a serial number is of what is there.
func (u *ReleaseUse) add(use Use, runs bool) {
	d := use.Device
	if use.Serial == "" {
		use.Serial = d.Serial
	}
	if d.Other != "" {
		runs = runs || ledger.VersionKey(d.Other) == ledger.VersionKey(u.Version)
	}
	// Of a disputed device it may be open, too, which equipment stands there.
	if runs && !d.Gone && (d.Other != "" || d.Model == u.Model && !use.Replaced()) {
		u.Has = joined(u.Has, use)
		return
	}
	u.Had = joined(u.Had, use)
}

// joined adds a use to a list, or to that of the same equipment, whose
// readings came with and without its serial number.
func joined(list []Use, use Use) []Use {
	for i := len(list) - 1; i >= 0 && list[i].Vessel.ID == use.Vessel.ID && list[i].Device.ID == use.Device.ID; i-- {
		if o := &list[i]; o.Serial == use.Serial {
			if use.First.Before(o.First) {
				o.First = use.First
			}
			if use.Last.After(o.Last) {
				o.Last = use.Last
			}
			return list
		}
	}
	return append(list, use)
}

func (u *ReleaseUse) carried(ctx context.Context, q store.Querier, f Filter, again *anew) error {
	var ask question
	ask.and("c.model = $%d", u.Model)
	ask.and("c.version_key = $%d", ledger.VersionKey(u.Version))
	ask.times(f, "c.at")
	ask.berth(f, "v.berth")
	ask.equal("c.maker", f.Maker)
	join := ""
	if f.Berth != "" {
		join = " JOIN vessel v ON v.vessel = c.vessel"
	}
	if f.Technician != "" {
		join += " JOIN event e ON e.no = c.event"
		ask.equal("e.technician", f.Technician)
	}
	if again.events != "" {
		ask.where = append(ask.where, "c.event "+again.events)
	}
	var all []ledger.Carried
	query := `SELECT c.vessel, c.device, c.at, c.card, c.good FROM carried c` + join + ` WHERE ` + ask.String()
	err := store.Each(ctx, q, query, ask.args, func(r *sql.Rows) error {
		var c ledger.Carried
		var at string
		if err := r.Scan(&c.Vessel, &c.Release.Device, &at, &c.Card, &c.Good); err != nil || again.without(c.Vessel) {
			return err
		}
		var err error
		c.At, err = moment(at)
		all = append(all, c)
		return err
	})
	anew, err2 := again.carried(ctx, q, u, f)
	u.addCards(append(all, anew...))
	return errors.Join(err, err2, u.nameCarried(ctx, q, again))
}

// addCards puts together what cards carried, by vessel and device.
func (u *ReleaseUse) addCards(all []ledger.Carried) {
	slices.SortFunc(all, func(a, b ledger.Carried) int {
		return cmp.Or(cmp.Compare(a.Vessel, b.Vessel), cmp.Compare(a.Release.Device, b.Release.Device), a.At.Compare(b.At), cmp.Compare(a.Card, b.Card))
	})
	cards := map[string]bool{} // of the device that is being gone through
	for _, x := range all {
		n := len(u.Carried)
		if n == 0 || u.Carried[n-1].Vessel.ID != x.Vessel || u.Carried[n-1].Device != x.Release.Device {
			u.Carried = append(u.Carried, Carried{Vessel: Vessel{ID: x.Vessel}, Device: x.Release.Device, First: x.At})
			clear(cards)
			n++
		}
		cards[x.Card] = true
		c := &u.Carried[n-1]
		c.Card, c.Last, c.Cards, c.Good = x.Card, x.At, len(cards), c.Good || x.Good
	}
}

// nameCarried says which vessels cards were for. Most are those of the devices
// that have or had the release.
func (u *ReleaseUse) nameCarried(ctx context.Context, q store.Querier, again *anew) error {
	known := map[string]Vessel{"": {}}
	for _, uses := range [][]Use{u.Has, u.Had} {
		for _, use := range uses {
			known[use.Vessel.ID] = use.Vessel
		}
	}
	for i := range u.Carried {
		c := &u.Carried[i]
		v, ok := known[c.Vessel.ID]
		if !ok {
			v.ID = c.Vessel.ID // nothing else may be known of it
			if err := again.describe(ctx, q, &v); err != nil {
				return err
			}
			known[v.ID] = v
		}
		c.Vessel = v
	}
	return nil
}

// withdrawalsIn are the ledger's, those that stand; and those that were left out.
func withdrawalsIn(ctx context.Context, l *store.Ledger, q store.Querier) (known.Withdrawals, []ledger.Event, error) {
	trust, events, err := withdrawalEvents(ctx, l, q)
	if err != nil {
		return nil, nil, err
	}
	_, left := known.Facts(events, trust)
	return known.WithdrawalsOf(nil, events, trust), left, nil
}

// withdrawalEvents are the events that withdraw a release, with their corrections.
func withdrawalEvents(ctx context.Context, l *store.Ledger, q store.Querier) (known.Trust, []ledger.Event, error) {
	trust, err := l.Trust(ctx, q)
	if err != nil {
		return nil, nil, err
	}
	var events []ledger.Event
	collect := func(e ledger.Event) error {
		events = append(events, e)
		return nil
	}
	const kind = `kind = 'release withdrawn'`
	if err := store.EachEvent(ctx, q, kind, nil, collect); err != nil {
		return nil, nil, err
	}
	// What was corrected into a withdrawal, or corrects one, stands under no vessel.
	err = store.EachEvent(ctx, q, `vessel = '' AND kind = 'correction'`, nil, collect)
	return trust, events, err
}

// WithdrawnAndLifted are the withdrawals that stand, and those that were taken
// back, by writers whom the shop trusts.
func WithdrawnAndLifted(ctx context.Context, l *store.Ledger) (stand, lifted known.Withdrawals, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		trust, events, err := withdrawalEvents(ctx, l, q)
		stand, lifted = known.WithdrawalsOf(nil, events, trust), known.LiftedOf(events, trust)
		return err
	})
	if err != nil {
		err = fmt.Errorf("looking for withdrawn releases: %w", err)
	}
	return stand, lifted, err
}

// Withdrawals are the releases that a ledger says are withdrawn, by writers whom
// the shop trusts, and the events of others that were left out.
func Withdrawals(ctx context.Context, l *store.Ledger) (list known.Withdrawals, left LeftOut, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		all, events, err := withdrawalsIn(ctx, l, q)
		list = all
		left.note(events)
		return err
	})
	if err != nil {
		err = fmt.Errorf("looking for withdrawn releases: %w", err)
	}
	return list, left, err
}

// WithdrawnUse are all withdrawn releases, and who has them.
type WithdrawnUse struct {
	Format   int          `json:"format"`
	Releases []ReleaseUse `json:"releases"` // each with who must be called (Has) first
}

// ToCall are the ids of the vessels that have a withdrawn release, or may have it.
func (u WithdrawnUse) ToCall() (vessels []string) {
	for _, r := range u.Releases {
		for _, x := range r.Has {
			vessels = append(vessels, x.Vessel.ID)
		}
		for _, x := range r.Had {
			if x.MayRun() {
				vessels = append(vessels, x.Vessel.ID)
			}
		}
	}
	slices.Sort(vessels)
	return slices.Compact(vessels)
}

// Gone are the ids of those that are no longer served.
func (u WithdrawnUse) Gone() (vessels []string) {
	for _, r := range u.Releases {
		for _, x := range slices.Concat(r.Has, r.Had) {
			if x.VesselGone {
				vessels = append(vessels, x.Vessel.ID)
			}
		}
	}
	slices.Sort(vessels)
	return slices.Compact(vessels)
}

// Formerly are the ids that a vessel had before.
func (u WithdrawnUse) Formerly(id string) []string {
	for _, r := range u.Releases {
		for _, x := range slices.Concat(r.Has, r.Had) {
			if x.Vessel.ID == id {
				return x.Vessel.Formerly
			}
		}
	}
	return nil
}

// OfWithdrawn finds who must be called: the boats that have a release which
// the ledger or the catalogue says is withdrawn.
func OfWithdrawn(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, f Filter) (WithdrawnUse, error) {
	out := WithdrawnUse{Format: format, Releases: []ReleaseUse{}}
	err := l.Look(ctx, func(q store.Querier) error {
		all, _, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		for _, u := range withdrawnReleases(all, catalogue, f) {
			known := u.Withdrawn
			if err := u.ask(ctx, l, q, f); err != nil {
				return err
			}
			u.Withdrawn = known
			u.Has, u.Had = u.covered(u.Has), u.covered(u.Had)
			out.Releases = append(out.Releases, u)
		}
		return nil
	})
	if err != nil {
		return WithdrawnUse{}, fmt.Errorf("auditing withdrawn releases: %w", err)
	}
	return out, nil
}

// covered leaves out the uses of variants that nobody withdrew. Of equipment
// that was replaced nobody knows the variant any longer.
func (u *ReleaseUse) covered(uses []Use) []Use {
	return slices.DeleteFunc(uses, func(use Use) bool {
		return !use.Replaced() && !slices.ContainsFunc(u.Withdrawn, func(w Withdrawn) bool { return w.covers(use.Device.Variant) })
	})
}

func withdrawnReleases(all known.Withdrawals, catalogue []*manifest.Model, f Filter) []ReleaseUse {
	var list []ReleaseUse
	at := map[string]int{}
	note := func(model string, v version.V, w Withdrawn) {
		key := model + "\n" + ledger.VersionKey(v)
		i, ok := at[key]
		if !ok {
			i = len(list)
			at[key] = i
			list = append(list, ReleaseUse{Format: format, Model: model, Version: v})
		}
		list[i].Withdrawn = append(list[i].Withdrawn, w)
	}
	for _, m := range catalogue {
		for _, r := range m.Releases {
			if r.Withdrawn != "" && (f.Maker == "" || f.Maker == m.Maker) {
				note(m.ID, r.Version, Withdrawn{Variant: r.Variant, Why: r.Withdrawn})
			}
		}
	}
	for _, w := range all {
		if f.Maker == "" || w.Maker == "" || f.Maker == w.Maker {
			note(w.Model, w.Version, withdrawnOf(w))
		}
	}
	return list
}
