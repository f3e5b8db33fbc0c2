package audit

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// Status says how a device stands against the catalogue.
type Status string

// The statuses, from worst to best.
const (
	StatusWithdrawn Status = "withdrawn" // it runs a release that nobody should run
	StatusDisputed  Status = "disputed"  // two writers say different versions
	StatusUnknown   Status = "unknown"   // nobody read its version
	StatusBehind    Status = "behind"    // newer releases are in the catalogue
	StatusUnlisted  Status = "unlisted"  // the catalogue doesn't know its model or its release
	StatusCurrent   Status = "current"
)

// Statuses is the closed list, in that order.
var Statuses = []Status{StatusWithdrawn, StatusDisputed, StatusUnknown, StatusBehind, StatusUnlisted, StatusCurrent}

// Fleet is the matrix of vessels and models.
type Fleet struct {
	Format  int            `json:"format"`
	Models  []string       `json:"models"`  // that are aboard anywhere, by id
	Vessels []Row          `json:"vessels"` // by id
	Counts  map[Status]int `json:"counts"`  // devices, zeros too
	LeftOut
}

// Row is one vessel's devices.
type Row struct {
	Vessel  Vessel     `json:"vessel"`
	Last    time.Time  `json:"last"` // the last time that any of its devices was read; zero: never
	Devices []Standing `json:"devices"`
	Worst   Status     `json:"worst"` // of its devices; "" where it has none
}

// Standing is one device and how it stands.
type Standing struct {
	Device
	Status Status    `json:"status"`
	Behind int       `json:"behind"` // releases that are newer
	Newest version.V `json:"newest"` // of the catalogue; "" where it has none
}

// OfFleet gives the matrix. The filter's dates and technician ask about the
// last reading of each device.
func OfFleet(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, f Filter) (Fleet, error) {
	fleet := Fleet{Format: format, Models: []string{}, Vessels: []Row{}, Counts: map[Status]int{}}
	for _, s := range Statuses {
		fleet.Counts[s] = 0
	}
	err := l.Look(ctx, func(q store.Querier) error {
		withdrawn, left, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		again, err := anewIn(ctx, l, q)
		if err != nil {
			return err
		}
		fleet.LeftOut = again.left
		fleet.note(left)
		if again.gone, err = goneVessels(ctx, l, q); err != nil {
			return err
		}
		return fleet.ask(ctx, q, newJudge(catalogue, withdrawn), f, &again)
	})
	if err != nil {
		return Fleet{}, fmt.Errorf("auditing the fleet: %w", err)
	}
	return fleet, nil
}

func (fleet *Fleet) ask(ctx context.Context, q store.Querier, j *judge, f Filter, again *anew) error {
	ask := question{where: []string{"d.gone = 0"}}
	ask.times(f, "d.at")
	ask.berth(f, "v.berth")
	ask.equal("d.maker", f.Maker)
	join := ""
	if f.Technician != "" {
		join = " JOIN event e ON e.no = d.event"
		ask.equal("e.technician", f.Technician)
	}
	models := map[string]bool{}
	err := store.Each(ctx, q, `SELECT `+vesselColumns+`, `+deviceColumns+` FROM device d JOIN vessel v ON v.vessel = d.vessel`+join+`
		WHERE `+ask.String()+` ORDER BY d.vessel, d.device`, ask.args, func(r *sql.Rows) error {
		var v Vessel
		var d Device
		if err := scanWith(r, v.scan(), &d); err != nil {
			return err
		}
		if again.without(v.ID) || again.gone[v.ID] {
			return nil
		}
		models[d.Model] = true
		fleet.add(v, j.standing(d))
		return nil
	})
	if err != nil {
		return err
	}
	if err := fleet.askAnew(ctx, q, j, f, again, models); err != nil {
		return err
	}
	for m := range models {
		fleet.Models = append(fleet.Models, m)
	}
	slices.Sort(fleet.Models)
	return nil
}

// askAnew adds the vessels that are worked out anew.
func (fleet *Fleet) askAnew(ctx context.Context, q store.Querier, j *judge, f Filter, again *anew, models map[string]bool) error {
	for id, known := range again.vessels {
		if again.gone[id] {
			continue
		}
		v := Vessel{ID: id}
		if err := v.describe(ctx, q); err != nil {
			return err
		}
		for _, d := range known.devices() {
			by := ""
			if k := known.Device(d.ID); k != nil {
				by = k.By
			}
			if d.Gone || !f.letsBerth(v.Berth) || !f.letsTime(d.Since) || f.Maker != "" && f.Maker != d.Maker || f.Technician != "" && f.Technician != by {
				continue
			}
			models[d.Model] = true
			fleet.add(v, j.standing(d))
		}
	}
	if len(again.vessels) > 0 {
		slices.SortFunc(fleet.Vessels, func(a, b Row) int { return strings.Compare(a.Vessel.ID, b.Vessel.ID) })
	}
	return nil
}

func (fleet *Fleet) add(v Vessel, s Standing) {
	n := len(fleet.Vessels)
	if n == 0 || fleet.Vessels[n-1].Vessel.ID != v.ID {
		fleet.Vessels = append(fleet.Vessels, Row{Vessel: v, Worst: s.Status})
		n++
	}
	row := &fleet.Vessels[n-1]
	row.Devices = append(row.Devices, s)
	if row.Last.Before(s.Since) {
		row.Last = s.Since
	}
	if slices.Index(Statuses, s.Status) < slices.Index(Statuses, row.Worst) {
		row.Worst = s.Status
	}
	fleet.Counts[s.Status]++
}

// judge knows the catalogue's releases, newest first, and those withdrawn.
type judge struct {
	releases  map[string][]version.V // by model and variant
	listed    map[string]bool        // by model, variant and version
	withdrawn map[string]bool
	all       map[string]bool // withdrawn in every variant, by model and version
}

func newJudge(catalogue []*manifest.Model, withdrawn known.Withdrawals) *judge {
	j := &judge{releases: map[string][]version.V{}, listed: map[string]bool{}, withdrawn: map[string]bool{}, all: map[string]bool{}}
	for _, w := range withdrawn {
		j.withdrawn[releaseKey(w.Model, w.Variant, w.Version)] = true
		if w.Variant == "" {
			j.all[releaseKey(w.Model, "", w.Version)] = true
		}
	}
	for _, m := range catalogue {
		for _, r := range m.Releases {
			key := releaseKey(m.ID, r.Variant, r.Version)
			j.listed[key] = true
			if r.Withdrawn != "" {
				j.withdrawn[key] = true
			}
			if !j.isWithdrawn(m.ID, r.Variant, r.Version) {
				j.releases[m.ID+"\n"+r.Variant] = append(j.releases[m.ID+"\n"+r.Variant], r.Version)
			}
		}
	}
	for _, list := range j.releases {
		slices.SortFunc(list, func(a, b version.V) int { return version.Compare(b, a) })
	}
	return j
}

func releaseKey(model, variant string, v version.V) string {
	return model + "\n" + variant + "\n" + ledger.VersionKey(v)
}

func (j *judge) isWithdrawn(model, variant string, v version.V) bool {
	return j.withdrawn[releaseKey(model, variant, v)] || j.all[releaseKey(model, "", v)]
}

func (j *judge) standing(d Device) Standing {
	s := Standing{Device: d}
	newer := j.releases[d.Model+"\n"+d.Variant]
	if len(newer) > 0 {
		s.Newest = newer[0]
	}
	if !d.Unknown() {
		for _, v := range newer {
			if version.Compare(v, d.Version) > 0 {
				s.Behind++
			}
		}
	}
	s.Status = j.status(d, s.Behind)
	return s
}

func (j *judge) status(d Device, behind int) Status {
	switch {
	case j.isWithdrawn(d.Model, d.Variant, d.Version) || d.Other != "" && j.isWithdrawn(d.Model, d.Variant, d.Other):
		return StatusWithdrawn
	case d.Other != "":
		return StatusDisputed
	case d.Unknown():
		return StatusUnknown
	case behind > 0:
		return StatusBehind
	case !j.listed[releaseKey(d.Model, d.Variant, d.Version)]:
		return StatusUnlisted
	}
	return StatusCurrent
}
