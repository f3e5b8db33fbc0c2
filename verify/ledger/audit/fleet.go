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
	"cardwright/verify/ledger/store"
)

// Fleet is the matrix of vessels and models.
type Fleet struct {
	Format  int            `json:"format"`
	Models  []string       `json:"models"`  // that are aboard anywhere, by id
	Vessels []Row          `json:"vessels"` // by id
	Counts  map[Status]int `json:"counts"`  // devices, zeros too
	LeftOut

	whole bool            // nothing was filtered out
	bare  map[string]bool // vessels that have no device aboard any longer, of a whole one
	lives lives
	anew  []string // vessels whose tables can't be trusted
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
	fleet.whole, fleet.bare = f == (Filter{}), map[string]bool{}
	err := l.Look(ctx, func(q store.Querier) error {
		withdrawn, left, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		again, err := anewIn(ctx, l, q)
		if err != nil {
			return err
		}
		fleet.LeftOut, fleet.lives = again.left, again.lives
		fleet.note(left)
		return fleet.ask(ctx, q, newJudge(catalogue, withdrawn), f, &again)
	})
	if err != nil {
		return Fleet{}, fmt.Errorf("auditing the fleet: %w", err)
	}
	return fleet, nil
}

func (fleet *Fleet) ask(ctx context.Context, q store.Querier, j *judge, f Filter, again *anew) error {
	ask := question{where: []string{"d.gone = 0"}}
	if fleet.whole {
		ask.where = []string{"d.gone IN (0, 1)"} // which vessels have nothing aboard any longer, too
	}
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
		if d.Gone {
			fleet.bare[v.ID] = true
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
		fleet.anew = append(fleet.anew, id)
		if again.gone[id] {
			continue
		}
		v := Vessel{ID: id}
		if err := again.describe(ctx, q, &v); err != nil {
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

// Otherwise are the vessels whose files have a device otherwise than the fleet, or one
// that it doesn't have; and those whose tables can't be trusted. It is what the
// function of this name gives for a complete fleet: false where a filter left
// something out.
func (fleet *Fleet) Otherwise(files []*manifest.Vessel) (vessels []string, whole bool) {
	rows := map[string]*Row{}
	for i := range fleet.Vessels {
		rows[fleet.Vessels[i].Vessel.ID] = &fleet.Vessels[i]
	}
	for _, v := range files {
		aboard := map[string]Device{}
		now := fleet.lives.Now(v.ID)
		row := rows[now]
		if row != nil {
			for _, d := range row.Devices {
				aboard[d.ID] = d.Device
			}
		}
		if slices.Contains(fleet.anew, now) || fleet.lives.gone[now] || fleet.lives.named[now] ||
			row != nil && row.Vessel.otherwise(v) || (row != nil || fleet.bare[now]) && devicesOtherwise(aboard, v.Devices) {
			vessels = append(vessels, v.ID)
		}
	}
	return vessels, fleet.whole
}
