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

// CardStory is what is known of one card.
type CardStory struct {
	Digest   string `json:"digest"` // "" where it could not be formed
	Prepared []Line `json:"prepared"`
	Verified []Line `json:"verified"`
	Used     []Line `json:"used"` // steps whose release came from it
	Fate     []Line `json:"fate"` // lost, handed over, destroyed; what was taken back is left out
}

// Bounds of a question about cards.
const (
	leastDigest = 8   // digits of a digest that name a card
	maxCards    = 500 // events about cards with one digest or target
)

// OfCard tells the story of a card: named by its digest, the first digits of
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
			where, args := `card = $1`, []any{d}
			if d == "" {
				where, args = `card = '' AND target = $1`, []any{card}
			}
			err := store.EachEvent(ctx, q, where+fmt.Sprintf(" ORDER BY ord LIMIT %d", maxCards), args, func(e ledger.Event) error {
				switch line := lineOf(e); {
				case !f.lets(line):
				case trust != nil && !trust(&e):
					left.note([]ledger.Event{e})
				default:
					tell(stories, d, line)
				}
				return nil
			})
			if err != nil {
				return err
			}
			if err := stories[d].corrected(ctx, q, trust); err != nil {
				return err
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

// corrected leaves out of what became of a card what was taken back, and says what
// was put instead.
func (s *CardStory) corrected(ctx context.Context, q store.Querier, trust known.Trust) error {
	if s == nil || len(s.Fate) == 0 {
		return nil
	}
	var stand []Line
	for _, line := range s.Fate {
		last := line
		gone := false
		err := store.EachEvent(ctx, q, `corrects = $1 ORDER BY ord`, []any{line.Event[:]}, func(e ledger.Event) error {
			if trust != nil && !trust(&e) {
				return nil
			}
			instead := e.Statement.Entry.Correction.Instead
			if gone = instead == nil; !gone {
				last.Entry = *instead
			}
			return nil
		})
		if err != nil {
			return err
		}
		if !gone {
			stand = append(stand, last)
		}
	}
	s.Fate = append([]Line{}, stand...)
	return nil
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
// and with which verdict; false where the ledger doesn't tell of it.
func Making(ctx context.Context, l *store.Ledger, vessel, plan, volume string) (last ledger.Entry, found bool, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		args := []any{vessel, string(ledger.CardPrepared)}
		return store.EachEvent(ctx, q, `vessel = $1 AND kind = $2 ORDER BY ord`, args, func(e ledger.Event) error {
			if k := e.Statement.Entry.Card; k != nil && k.Plan == plan && k.VolumeID == volume {
				last, found = e.Statement.Entry, true
			}
			return nil
		})
	})
	if err != nil {
		return last, false, fmt.Errorf("looking for the making of a card of %s: %w", vessel, err)
	}
	return last, found, nil
}

// OnGoodCards are the releases that stood on good cards for a vessel, the
// newest card of each last.
func OnGoodCards(ctx context.Context, l *store.Ledger, vessel string) ([]ledger.OnCard, error) {
	list := []ledger.OnCard{}
	err := l.Look(ctx, func(q store.Querier) error {
		return eachOnCard(ctx, q, vessel, func(c ledger.OnCard) { list = append(list, c) })
	})
	if err != nil {
		return nil, fmt.Errorf("looking for the cards of vessel %s: %w", vessel, err)
	}
	return list, nil
}
