package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// CardUse says where a card was made and used.
type CardUse struct {
	Format int         `json:"format"`
	Cards  []CardStory `json:"cards"` // by digest
	LeftOut
}

// CardStory is what is known of one card. What was taken back is left out.
type CardStory struct {
	Digest   string `json:"digest"` // "" where it could not be formed
	Prepared []Line `json:"prepared"`
	Verified []Line `json:"verified"`
	Used     []Line `json:"used"` // steps whose release came from it
	Fate     []Line `json:"fate"` // lost, handed over, destroyed
}

// Bounds of a question about cards.
const (
	leastDigest = 8   // digits of a digest that name a card
	maxCards    = 500 // events about cards with one digest or target
)

// OfCard gives the history of a card: named by its digest, the first digits of
// it, or the target that it was written to or read from.
func OfCard(ctx context.Context, l *store.Ledger, card string, f Filter) (CardUse, error) {
	stories := map[string]*CardStory{}
	left := LeftOut{Lines: []Line{}}
	err := l.Look(ctx, func(q store.Querier) error {
		trust, err := l.Trust(ctx, q)
		if err != nil {
			return err
		}
		digests, err := digestsOf(ctx, q, card)
		if err != nil {
			return err
		}
		for _, d := range digests {
			events, err := eventsOfCard(ctx, q, d, card)
			if err != nil {
				return err
			}
			facts, untrusted := known.Facts(events, trust)
			left.note(untrusted)
			for _, fact := range facts {
				line := lineOf(fact.Event)
				if line.Entry = fact.Entry; f.lets(line) {
					tell(stories, d, line)
				}
			}
		}
		return nil
	})
	if err == nil && len(stories) == 0 && left.Count == 0 {
		err = ErrNothing
	}
	if err != nil {
		return CardUse{}, fmt.Errorf("auditing card %s: %w", card, err)
	}
	u := sorted(stories)
	u.LeftOut = left
	return u, nil
}

// eventsOfCard are the events about a card, with their corrections, in order of time;
// those of cards without a digest are found by their target.
func eventsOfCard(ctx context.Context, q store.Querier, digest, target string) (events []ledger.Event, err error) {
	where, args := `card = $1`, []any{digest}
	if digest == "" {
		where, args = `card = '' AND target = $1`, []any{target}
	}
	collect := func(e ledger.Event) error {
		events = append(events, e)
		return nil
	}
	about := where + fmt.Sprintf(" ORDER BY ord LIMIT %d", maxCards)
	if err := store.EachEvent(ctx, q, about, args, collect); err != nil {
		return nil, err
	}
	err = store.EachEvent(ctx, q, `corrects IS NOT NULL AND corrects IN (SELECT id FROM event WHERE `+about+`)`, args, collect)
	return events, err
}

// digestsOf are the digests of the cards that a name means.
func digestsOf(ctx context.Context, q store.Querier, card string) ([]string, error) {
	where, args := `target = $1 AND target <> ''`, []any{card}
	if len(card) >= leastDigest && strings.Trim(card, "0123456789abcdef") == "" {
		where, args = `card >= $1 AND card < $2 AND card <> ''`, []any{card, card + "g"}
	}
	var list []string
	err := store.EachEvent(ctx, q, where+fmt.Sprintf(" LIMIT %d", maxCards), args, func(e ledger.Event) error {
		digest := ""
		if k := e.Statement.Entry.Card; k != nil {
			digest = k.Digest
		} else if s := e.Statement.Entry.Step; s != nil {
			digest = s.Card
		} else if c := e.Statement.Entry.CardFate; c != nil {
			digest = c.Card
		}
		list = append(list, digest)
		return nil
	})
	slices.Sort(list)
	return slices.Compact(list), err
}

func tell(stories map[string]*CardStory, digest string, line Line) {
	s := stories[digest]
	if s == nil {
		s = &CardStory{Digest: digest, Prepared: []Line{}, Verified: []Line{}, Used: []Line{}, Fate: []Line{}}
		stories[digest] = s
	}
	switch {
	case line.Entry.Kind == ledger.CardPrepared:
		s.Prepared = append(s.Prepared, line)
	case line.Entry.Kind == ledger.CardVerified:
		s.Verified = append(s.Verified, line)
	case line.Entry.CardFate != nil:
		s.Fate = append(s.Fate, line)
	default:
		s.Used = append(s.Used, line)
	}
}

func sorted(stories map[string]*CardStory) CardUse {
	u := CardUse{Format: format, Cards: []CardStory{}}
	for _, s := range stories {
		u.Cards = append(u.Cards, *s)
	}
	slices.SortFunc(u.Cards, func(a, b CardStory) int { return strings.Compare(a.Digest, b.Digest) })
	return u
}

// Making is when a vessel's card was last prepared, by its plan and volume ID,
// and with which verdict; false where the ledger doesn't have it.
func Making(ctx context.Context, l *store.Ledger, vessel, plan, volume string) (last ledger.Entry, found bool, err error) {
	err = eachFact(ctx, l, vessel, func(e *ledger.Entry) {
		if k := e.Card; e.Kind == ledger.CardPrepared && k.Plan == plan && k.VolumeID == volume {
			last, found = *e, true
		}
	})
	if err != nil {
		return last, false, fmt.Errorf("looking for the making of a card of %s: %w", vessel, err)
	}
	return last, found, nil
}

// OnGoodCards are the releases that were on good cards for a vessel, the
// newest card of each last.
func OnGoodCards(ctx context.Context, l *store.Ledger, vessel string) ([]ledger.OnCard, error) {
	list := []ledger.OnCard{}
	err := eachFact(ctx, l, vessel, func(e *ledger.Entry) {
		for _, c := range ledger.CarriedBy(e) {
			if r := c.Release; c.Good {
				list = append(list, ledger.OnCard{Device: r.Device, Model: r.Model, Version: r.Version, Card: c.Card})
			}
		}
	})
	if err != nil {
		return nil, fmt.Errorf("looking for the cards of vessel %s: %w", vessel, err)
	}
	return list, nil
}

// eachFact gives what stands about a vessel, by writers whom the shop trusts, in order
// of time.
func eachFact(ctx context.Context, l *store.Ledger, vessel string, give func(*ledger.Entry)) error {
	return l.Look(ctx, func(q store.Querier) error {
		trust, err := l.Trust(ctx, q)
		if err != nil {
			return err
		}
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		events, err := eventsOf(ctx, q, all.All(vessel))
		if err != nil {
			return err
		}
		facts, _ := known.Facts(events, trust)
		slices.SortStableFunc(facts, func(a, b known.Fact) int { return a.Entry.At.Compare(b.Entry.At) })
		for i := range facts {
			if e := &facts[i].Entry; all.Now(e.Vessel) == all.Now(vessel) {
				give(e)
			}
		}
		return nil
	})
}
