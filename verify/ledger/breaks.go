package ledger

import (
	"fmt"
	"strings"

	"cardwright/manifest/problem"
)

// BreakKind says how a ledger is broken; the list is closed.
type BreakKind string

// The ways in which a ledger can be broken.
const (
	Unreadable      BreakKind = "unreadable"       // not an event; what a worn disk leaves
	ContentChanged  BreakKind = "content changed"  // the content doesn't give the id
	SignatureWrong  BreakKind = "signature wrong"  // not signed with the writer's key
	NewerEvent      BreakKind = "newer event"      // whole and signed, in a form that a newer cardwright writes
	LinkBroken      BreakKind = "link broken"      // doesn't name the event before it
	EventMissing    BreakKind = "event missing"    // the event before it is not there
	TwoInOnePlace   BreakKind = "two in one place" // both signed: a copy of the ledger was written on
	TailMissing     BreakKind = "tail missing"     // a saved head is not there
	WriterUnknown   BreakKind = "writer unknown"   // signed, with a key the shop doesn't know
	IndexChanged    BreakKind = "index changed"    // what audits look up isn't what the event says
	SchemaChanged   BreakKind = "schema changed"   // the database isn't laid out as we made it
	DatabaseDamaged BreakKind = "database damaged" // the database's own check fails
)

// Break is one place where a ledger is broken.
type Break struct {
	Kind   BreakKind `json:"kind"`
	Writer string    `json:"writer"`
	Chain  string    `json:"chain"`
	Seq    int64     `json:"seq"`
	ID     string    `json:"id"`
	problem.Problem
}

// Walk goes along one chain, in order of places, and reports at each event
// whether it may be there. The zero value is before the first event.
type Walk struct {
	seq  int64
	here []ID // events in place seq; more than one where the chain forks
	prev []ID // those in the place before
}

// maxFork bounds how many events in one place are kept apart.
const maxFork = 16

// Next takes the next event, which has been verified, and returns what is
// wrong with its place, or nil.
func (w *Walk) Next(e *Event) *Break {
	s := &e.Statement
	b := Break{Writer: s.Writer, Chain: s.Chain, Seq: s.Seq, ID: e.ID.String()}
	switch {
	case s.Seq == w.seq && w.seq > 0:
		return w.fork(e, b)
	case s.Seq <= w.seq:
		b.Expected, b.Found = fmt.Sprintf("place %d or later", w.seq+1), fmt.Sprintf("place %d", s.Seq)
		return b.link()
	}
	missing := w.seq + 1
	w.prev, w.here, w.seq = w.here, []ID{e.ID}, s.Seq
	if missing < s.Seq {
		return b.missing(missing, s.Seq-1)
	}
	if !w.linked(s.Prev) {
		b.Expected, b.Found = "the event before it, "+idList(w.prev), s.Prev
		return b.link()
	}
	return nil
}

// Pass goes past an event that doesn't verify but is in this place under
// this id, so that the events after it are judged by themselves.
func (w *Walk) Pass(seq int64, id ID) {
	if seq > w.seq {
		w.prev, w.here, w.seq = w.here, []ID{id}, seq
	}
}

func (w *Walk) linked(prev string) bool {
	if w.seq == 1 {
		return prev == ""
	}
	for _, id := range w.prev {
		if id.String() == prev {
			return true
		}
	}
	return false
}

func (w *Walk) fork(e *Event, b Break) *Break {
	if len(w.here) < maxFork {
		w.here = append(w.here, e.ID)
	}
	b.Kind = TwoInOnePlace
	b.Expected = fmt.Sprintf("one event in place %d", w.seq)
	b.Found = "another, signed as well"
	b.Meaning = "somebody went on writing to a copy or an old backup of the ledger; both events count"
	b.Advice = "ask the writer which ledger is in use, and put the other away"
	return &b
}

func (b Break) link() *Break {
	b.Kind = LinkBroken
	b.Meaning = "another event came before this one: the order was changed, or an event was inserted or removed"
	b.Advice = "compare with a backup or with another ledger"
	return &b
}

func (b Break) missing(from, to int64) *Break {
	b.Kind, b.Seq, b.ID = EventMissing, from, ""
	b.Expected, b.Found = fmt.Sprintf("events %d to %d of this chain", from, to), "none"
	if from == to {
		b.Expected = fmt.Sprintf("event %d of this chain", from)
	}
	b.Meaning = "they were removed, or never arrived"
	b.Advice = "sync with a ledger, or restore a backup, that has them"
	return &b
}

func idList(ids []ID) string {
	words := make([]string, len(ids))
	for i, id := range ids {
		words[i] = id.String()
	}
	return strings.Join(words, " or ")
}
