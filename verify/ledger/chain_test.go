package ledger_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
)

// chain signs n events, each linked to the one before.
func chain(t testing.TB, n int) []*ledger.Event {
	k := ledger.Key(key(t))
	s := statement()
	var events []*ledger.Event
	for i := range n {
		s.Seq, s.Prev = int64(i+1), ""
		if i > 0 {
			s.Prev = events[i-1].ID.String()
		}
		e, err := ledger.Sign(s, k)
		require.NoError(t, err)
		events = append(events, &e)
	}
	return events
}

func walk(events []*ledger.Event) *ledger.Break {
	var w ledger.Walk
	for _, e := range events {
		if b := w.Next(e); b != nil {
			return b
		}
	}
	return nil
}

func TestAWholeChainHasNoBreak(t *testing.T) {
	assert.Nil(t, walk(chain(t, 5)))
	assert.Nil(t, walk(nil))
}

func TestTheFirstBrokenLinkIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(list, other []*ledger.Event) []*ledger.Event
		kind  ledger.BreakKind
		seq   int64
	}{
		"removed":              {func(l, _ []*ledger.Event) []*ledger.Event { return append(l[:2:2], l[3:]...) }, ledger.EventMissing, 3},
		"removed at the start": {func(l, _ []*ledger.Event) []*ledger.Event { return l[1:] }, ledger.EventMissing, 1},
		"several removed":      {func(l, _ []*ledger.Event) []*ledger.Event { return append(l[:1:1], l[3:]...) }, ledger.EventMissing, 2},
		"put in":               {func(l, o []*ledger.Event) []*ledger.Event { return append(append(l[:2:2], o[2]), l[3:]...) }, ledger.LinkBroken, 3},
		"the first replaced":   {func(l, o []*ledger.Event) []*ledger.Event { return append(o[:1:1], l[1:]...) }, ledger.LinkBroken, 2},
		"swapped":              {func(l, _ []*ledger.Event) []*ledger.Event { l[2], l[3] = l[3], l[2]; return l }, ledger.EventMissing, 3},
		"twice":                {func(l, o []*ledger.Event) []*ledger.Event { return append(l[:3:3], o[2]) }, ledger.TwoInOnePlace, 3},
	} {
		t.Run(name, func(t *testing.T) {
			b := walk(c.spoil(chain(t, 5), chain(t, 5)))
			require.NotNil(t, b)
			assert.Equal(t, c.kind, b.Kind)
			assert.Equal(t, c.seq, b.Seq)
			assert.NotEmpty(t, b.Expected)
			assert.NotEmpty(t, b.Found)
			assert.NotEmpty(t, b.Meaning)
			assert.NotEmpty(t, b.Advice)
		})
	}
}

func TestAForkMayGoOnEitherWay(t *testing.T) {
	events := chain(t, 3)
	var w ledger.Walk
	require.Nil(t, w.Next(events[0]))
	require.Nil(t, w.Next(events[1]))
	fork := *events[1]
	fork.ID[0] ^= 1
	require.Equal(t, ledger.TwoInOnePlace, w.Next(&fork).Kind)
	assert.Nil(t, w.Next(events[2]))
}

func TestPassKeepsWhatFollowsAnUnsoundEventLinked(t *testing.T) {
	events := chain(t, 3)
	var w ledger.Walk
	require.Nil(t, w.Next(events[0]))
	w.Pass(2, events[1].ID)
	assert.Nil(t, w.Next(events[2]))
}

func TestSavedHeadsAreReadBack(t *testing.T) {
	h := ledger.Heads{Format: 1, Ledger: "x", Taken: statement().Written, Heads: []ledger.Head{{Writer: "w", Chain: "c", Seq: 3, ID: ledger.ID{1}}}}
	text, err := json.Marshal(map[string]any{"format": 1, "path": "k.db", "heads": h})
	require.NoError(t, err)
	again, err := ledger.ReadHeads(bytes.NewReader(text))
	require.NoError(t, err)
	assert.Equal(t, h, again)
	for _, bad := range []string{
		"", "{}", `{"heads":{"format":2}}`, `{"heads":{"format":1,"ledger":"x","heads":[{"id":"zz"}]}}`, `{"heads":{"format":1,"heads":[]}}`,
		`{"heads":{"format":1,"ledger":"x","heads":[` + strings.Repeat("{},", 10_000) + "{}]}}", strings.Repeat(" ", 5<<20), string(text) + "{}", string(text[:len(text)-1]),
	} {
		_, err := ledger.ReadHeads(strings.NewReader(bad))
		assert.ErrorContains(t, err, "reading saved heads")
	}
}
