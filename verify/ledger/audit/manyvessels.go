package audit

import (
	"context"
	"fmt"
	"slices"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// maxLines is how many events of one vessel, and of some that are read together, are
// gone through: far more than boats get in their lives.
const maxLines = 100_000

// readTogether is how many vessels are read at once: a fleet's answers would
// otherwise take several questions for each.
const readTogether = 20

// aboutVessel is all that was written about a vessel, with all corrections of it,
// whoever wrote them, in order of time; and what these writers had seen of one another.
type aboutVessel struct {
	vessel   string   // today's id
	formerly []string // ids that she had before
	events   []ledger.Event
	seen     *known.Seen
}

// ofDevices leaves out the events that say nothing of devices: near half of all.
const ofDevices = ` AND kind NOT IN ('card prepared', 'card verified', 'visit begun', 'settings saved')`

// eachVessel gives what was written about each of some vessels, named by today's ids;
// only narrows the events.
func eachVessel(ctx context.Context, q store.Querier, names known.Names, vessels []string, only string, give func(aboutVessel) error) error {
	astray, err := correctionsAstray(ctx, q)
	if err != nil {
		return err
	}
	for part := range slices.Chunk(vessels, readTogether) {
		var ids []string
		for _, vessel := range part {
			ids = append(ids, names.All(vessel)...)
		}
		byID, err := groupsOf(ctx, q, ids, only, astray)
		if err != nil {
			return err
		}
		groups := make([][]ledger.Event, len(part))
		for i, vessel := range part {
			n := len(names.All(vessel))
			if groups[i] = byID[0]; n > 1 {
				groups[i] = slices.Concat(byID[:n]...)
			}
			byID = byID[n:]
		}
		seen, err := store.SeenAmong(ctx, q, groups...)
		if err != nil {
			return err
		}
		for i, vessel := range part {
			if err := give(aboutVessel{vessel, names.Were(vessel), groups[i], seen}); err != nil {
				return err
			}
		}
	}
	return nil
}

// groupsOf are the events about each of some vessels, in the vessels' order.
func groupsOf(ctx context.Context, q store.Querier, vessels []string, only string, astray map[string][]ledger.Event) ([][]ledger.Event, error) {
	in, args := "", make([]any, len(vessels))
	for i, vessel := range vessels {
		in += fmt.Sprintf(", $%d", i+1)
		args[i] = vessel
	}
	events, err := store.Events(ctx, q, fmt.Sprintf(`vessel IN (%s)%s ORDER BY vessel, ord LIMIT %d`, in[2:], only, maxLines+1), args...)
	if err != nil {
		return nil, err
	}
	if len(events) > maxLines {
		return nil, errTooMany
	}
	groups := make([][]ledger.Event, len(vessels))
	for from := 0; from < len(events); {
		vessel := events[from].Statement.Entry.Vessel
		to := from
		for to < len(events) && events[to].Statement.Entry.Vessel == vessel {
			to++
		}
		if i := slices.Index(vessels, vessel); i >= 0 {
			groups[i] = events[from:to:to]
		}
		from = to
	}
	for i, vessel := range vessels {
		groups[i] = append(groups[i], astray[vessel]...)
	}
	return groups, nil
}

// correctionsAstray are corrections that don't stand under the vessel of what they
// correct, as they should; by that vessel.
func correctionsAstray(ctx context.Context, q store.Querier) (map[string][]ledger.Event, error) {
	astray := map[string][]ledger.Event{}
	const where = `id IN (SELECT c.id FROM event c JOIN event t ON t.id = c.corrects WHERE c.corrects IS NOT NULL AND c.vessel <> t.vessel)`
	events, err := store.Events(ctx, q, where+fmt.Sprintf(" LIMIT %d", maxLines+1))
	if err != nil {
		return nil, err
	}
	if len(events) > maxLines {
		return nil, errTooMany
	}
	for _, e := range events {
		of, err := ledger.ParseID(e.Statement.Entry.Correction.Of)
		if err != nil {
			return nil, err
		}
		first, err := store.Events(ctx, q, `id = $1`, of[:])
		if err != nil {
			return nil, err
		}
		for _, f := range first {
			astray[f.Statement.Entry.Vessel] = append(astray[f.Statement.Entry.Vessel], e)
		}
	}
	return astray, nil
}
