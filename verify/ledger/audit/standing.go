package audit

import (
	"cmp"
	"context"
	"slices"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// corrections are those that count: of one event's the last, and none of
// another correction.
const corrections = `corrects IS NOT NULL
	AND NOT EXISTS (SELECT 1 FROM event c WHERE c.corrects = event.corrects AND c.ord > event.ord)
	AND NOT EXISTS (SELECT 1 FROM event o WHERE o.id = event.corrects AND o.corrects IS NOT NULL)`

// eachStanding gives what stands of the events for which a condition holds, in
// the order in which it happened: the events that nobody corrected, and of
// those corrected for which another condition holds what was put instead.
func eachStanding(ctx context.Context, q store.Querier, where, corrected string, args []any, give func(Line) error) error {
	var lines []Line
	collect := func(e ledger.Event) error {
		line := lineOf(e)
		if says := e.Statement.Entry.Says(); says != nil {
			line.Entry = *says
			lines = append(lines, line)
		}
		return nil
	}
	where += ` AND kind <> 'correction' AND NOT EXISTS (SELECT 1 FROM event c WHERE c.corrects = event.id)`
	if err := store.EachEvent(ctx, q, where, args, collect); err != nil {
		return err
	}
	if err := store.EachEvent(ctx, q, corrected+" AND "+corrections, args, collect); err != nil {
		return err
	}
	slices.SortFunc(lines, func(a, b Line) int {
		return cmp.Or(a.Entry.At.Compare(b.Entry.At), cmp.Compare(a.Writer, b.Writer), cmp.Compare(a.Seq, b.Seq), slices.Compare(a.Event[:], b.Event[:]))
	})
	for _, line := range lines {
		if err := give(line); err != nil {
			return err
		}
	}
	return nil
}
