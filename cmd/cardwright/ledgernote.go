package main

import (
	"context"
	"fmt"
	"io"
	"os/user"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// technician is who does the work: --by, or the user of this computer.
func technician(by string) string {
	if by != "" {
		return by
	}
	u, err := user.Current()
	if err != nil {
		return "unknown"
	}
	if u.Name != "" {
		return u.Name
	}
	return u.Username
}

// note adds entries to the shop's ledger, all or none.
func note(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, entries ...ledger.Entry) error {
	return noteBy(ctx, s, shop, key, func(l *store.Ledger, w store.Writer) error {
		_, err := l.Append(ctx, w, atAgreedBerths(s.known, entries)...)
		return err
	})
}

// atAgreedBerths are entries without a berth that a person wrote into a vessel's file
// by hand and nobody agreed to have noted.
func atAgreedBerths(fleet map[string]*known.Joined, entries []ledger.Entry) []ledger.Entry {
	entries = slices.Clone(entries)
	for i := range entries {
		if e := &entries[i]; e.TakenOn == nil && e.Vessel != "" {
			e.Berth = fleet[e.Vessel].AgreedBerth(e.Berth)
		}
	}
	return entries
}

// noteVisit adds the entries of a visit, unless the ledger has it already.
func noteVisit(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, visit string, entries ...ledger.Entry) (events []ledger.Event, err error) {
	err = noteBy(ctx, s, shop, key, func(l *store.Ledger, w store.Writer) (err error) {
		events, err = l.AppendVisit(ctx, w, visit, atAgreedBerths(s.known, entries)...)
		return err
	})
	return events, err
}

// noteLife adds what became of a boat, a device or a card, and says how it is
// taken back.
func noteLife(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, e ledger.Entry) (undo string, err error) {
	if err := e.Validate(); err != nil {
		return "", usage(err)
	}
	err = noteBy(ctx, s, shop, key, func(l *store.Ledger, w store.Writer) error {
		events, err := l.Append(ctx, w, atAgreedBerths(s.known, []ledger.Entry{e})...)
		if err == nil {
			undo = takeBack(events[0].ID)
		}
		return err
	})
	return undo, err
}

// noteBy adds to the shop's ledger what add appends, signed with a key.
func noteBy(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, add func(*store.Ledger, store.Writer) error) error {
	private, err := key.Ed25519()
	if err != nil {
		return err
	}
	for _, k := range s.known {
		if err := record.KeepAgreed(shop, k); err != nil {
			s.complain(err.Error()) // the note counts for more
		}
	}
	w := store.Writer{Shop: shop.Name, Technician: technician(s.by), Signer: ledger.Key(private)}
	if err := ledgerAt(&s.terminal, ledgerAddress(shop)).Add(ctx, func(l *store.Ledger) error { return add(l, w) }); err != nil {
		return err
	}
	s.looked = nil // it is another ledger now
	tellUntrusted(&s.terminal, shop, key)
	return nil
}

// noteCard notes that a card was prepared or verified. Without a key nothing
// can be signed, so nothing is noted; key new says how to have one.
func noteCard(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, kind ledger.Kind, vessel *manifest.Vessel, card ledger.Card) error {
	if s.unasked != nil {
		return s.unasked
	}
	if shop == nil || key == nil {
		return nil
	}
	e := ledger.Entry{At: time.Now().UTC().Truncate(time.Second), Kind: kind, Card: &card}
	if vessel != nil {
		e.Vessel, e.Berth = vessel.ID, vessel.Berth
	}
	// A card that was just proven is noted even if the user asks to stop now.
	return note(context.WithoutCancel(ctx), s, shop, key, e)
}

// lifeNoted is the answer of a command that notes what became of something.
type lifeNoted struct {
	Format int          `json:"format"`
	Entry  ledger.Entry `json:"entry"`
	File   string       `json:"file"` // that was changed; "" where none was
	Undo   string       `json:"undo"` // the command that takes it back
}

func answerLife(t *terminal, e ledger.Entry, file, undo string) {
	t.answer(lifeNoted{1, e, file, undo}, func(w io.Writer) {
		fmt.Fprintln(w, wrapped("Noted: "+visible.Visible(e.Tell()), "  "))
		switch {
		case file != "" && e.Kind == ledger.VesselGone:
			fmt.Fprintf(w, "%s was put aside, into %s.\n", visible.Visible(file), record.AsideFolder)
		case file != "":
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
		writeUndo(w, undo)
	})
}

// writeUndo names the commands that take back what was noted.
func writeUndo(w io.Writer, undo ...string) {
	for i, command := range undo {
		if i == 0 {
			fmt.Fprintln(w, "To take it back:")
		}
		fmt.Fprintf(w, "  %s\n", command)
	}
}
