package verify

import (
	"context"
	"slices"
	"strings"

	"cardwright/media"
)

// matched is what was read of a card against what is wanted on it: the second
// value on the way to a report. Nothing is read after it.
type matched struct {
	card     onCard
	expected Expected
	known    catalogue
	record   recordOnCard
	signer   signer

	placement
	others   []identified // what nobody asked for
	reworded reworded
	fits     []fitting
}

// match finds out which of the files on a card are wanted, by digest and by
// place, and what the others are.
func match(ctx context.Context, card onCard, expected Expected) matched {
	m := matched{card: card, expected: expected}
	if !card.hasFiles() {
		return m
	}
	m.record = readRecord(card, expected)
	m.signer = signerOf(card, expected)
	m.placement = place(comparer{ctx, card.own, expected}, card.files, wantedFiles(expected, m.record.is))
	m.known = catalogueOf(expected.shop(), m.wanted)
	m.others, m.absent = identifyOthers(ctx, m)
	m.reworded = rewordedOrder(m)
	m.fits = fittings(m)
	return m
}

// wantedFiles are those of the plan's record, or, where nothing else is known,
// of the record on the card.
func wantedFiles(expected Expected, record *media.Record) []media.RecordFile {
	all := expected.Record.Files
	if expected.FromRecord {
		if all = nil; record != nil {
			all = record.Files
		}
	}
	last := map[string]media.RecordFile{} // of two at one place the later
	for _, f := range all {
		last[key(f.Path)] = f
	}
	wanted := make([]media.RecordFile, 0, len(last))
	for _, f := range last {
		wanted = append(wanted, f)
	}
	slices.SortFunc(wanted, func(a, b media.RecordFile) int { return strings.Compare(a.Path, b.Path) })
	return wanted
}

// isOwn reports whether a file or folder belongs to the record's folder as it
// should be.
func (m matched) isOwn(f *file) bool {
	return !m.expected.Alone && slices.ContainsFunc(ownPaths, func(p string) bool { return m.card.files.isAt(f, p) })
}
