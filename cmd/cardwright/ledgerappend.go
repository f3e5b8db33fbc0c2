package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os/user"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// ledgerAddress is where a shop's ledger is.
func ledgerAddress(shop *manifest.Shop) string {
	if store.IsPostgres(shop.Ledger) {
		return shop.Ledger
	}
	return filepath.Join(shop.Dir, filepath.FromSlash(shop.Ledger))
}

// openLedger opens a shop's ledger to read it.
func openLedger(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	address := ledgerAddress(shop)
	l, err := store.Open(ctx, address, store.Options{ReadOnly: true, Memory: memoryOf(address)})
	if err != nil {
		return nil, fmt.Errorf("opening the ledger: %w", err)
	}
	l.Believe(believed(shop))
	return l, nil
}

// openToWrite opens a shop's ledger to add to it, and makes it where there is none.
func openToWrite(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	address := ledgerAddress(shop)
	return store.Open(ctx, address, store.Options{Create: true, Memory: memoryOf(address)})
}

// openLedgerIfAny opens a shop's ledger to read it; nil where there is none.
func openLedgerIfAny(ctx context.Context, shop *manifest.Shop) (*store.Ledger, error) {
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	return l, err
}

// technician is who does the work: --by, or the user of this computer.
func (s *shopLedger) technician() string {
	if s.by != "" {
		return s.by
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

// note appends entries to the shop's ledger, all or none.
func (s *shopLedger) note(ctx context.Context, shop *manifest.Shop, key *keys.Key, entries ...ledger.Entry) error {
	return s.append(ctx, shop, key, func(l *store.Ledger, w store.Writer) error {
		_, err := l.Append(ctx, w, entries...)
		return err
	})
}

// noteLife appends what became of a boat, a device or a card, and says how it is
// taken back.
func (s *shopLedger) noteLife(ctx context.Context, shop *manifest.Shop, key *keys.Key, e ledger.Entry) (undo string, err error) {
	if err := e.Validate(); err != nil {
		return "", usage(err)
	}
	err = s.append(ctx, shop, key, func(l *store.Ledger, w store.Writer) error {
		events, err := l.Append(ctx, w, e)
		if err == nil {
			undo = "cardwright ledger correct " + events[0].ID.Short() + " --take-back --why WHY"
		}
		return err
	})
	return undo, err
}

// lifeNoted is the answer of a command that notes what became of something.
type lifeNoted struct {
	Format int          `json:"format"`
	Entry  ledger.Entry `json:"entry"`
	File   string       `json:"file"` // that was changed; "" where none was
	Undo   string       `json:"undo"` // the command that takes it back
}

func (s *terminal) answerLife(e ledger.Entry, file, undo string) {
	s.answer(lifeNoted{1, e, file, undo}, func(w io.Writer) {
		fmt.Fprintln(w, wrapped("Noted: "+visible.Visible(e.Tell()), "  "))
		if file != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
		fmt.Fprintf(w, "To take it back:\n  %s\n", undo)
	})
}

// noteVisit appends the entries of a visit, unless the ledger has it already.
func (s *shopLedger) noteVisit(ctx context.Context, shop *manifest.Shop, key *keys.Key, visit string, entries ...ledger.Entry) error {
	return s.append(ctx, shop, key, func(l *store.Ledger, w store.Writer) error {
		_, err := l.AppendVisit(ctx, w, visit, entries...)
		return err
	})
}

func (s *shopLedger) append(ctx context.Context, shop *manifest.Shop, key *keys.Key, add func(*store.Ledger, store.Writer) error) error {
	private, err := key.Ed25519()
	if err != nil {
		return err
	}
	before := store.Fingerprint(ledgerAddress(shop))
	l, err := openToWrite(ctx, shop)
	if err != nil {
		return fmt.Errorf("opening the ledger: %w", err)
	}
	w := store.Writer{Shop: shop.Name, Technician: s.technician(), Signer: ledger.Key(private)}
	err = add(l, w)
	heads, unread := l.Heads(context.WithoutCancel(ctx))
	if err = errors.Join(err, l.Close()); err != nil {
		return fmt.Errorf("noting it in the ledger: %w", err)
	}
	if unread == nil {
		keepChecked(shop, before, heads)
	}
	s.ledgerChecked = nil // it is another file now
	s.tellUntrusted(shop, key)
	return nil
}

// noteCard notes that a card was prepared or verified. Without a key nothing
// can be signed, so nothing is noted; key new says how to have one.
func (s *shopLedger) noteCard(ctx context.Context, shop *manifest.Shop, key *keys.Key, kind ledger.Kind, vessel *manifest.Vessel, card ledger.Card) error {
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
	return s.note(context.WithoutCancel(ctx), shop, key, e)
}

// knownWriters are the keys that shop.yaml trusts, as the ledger takes them.
func knownWriters(shop *manifest.Shop, own *keys.Key) map[string]string {
	known := map[string]string{}
	trusts := shop.Trusts
	if own != nil {
		trusts = append(trusts[:len(trusts):len(trusts)], &manifest.Trust{Shop: shop.Name, Key: own.Public()})
	}
	for _, t := range trusts {
		if public, err := keys.PublicEd25519(t.Key); err == nil { // its form was checked
			known[hex.EncodeToString(public)] = t.Shop
		}
	}
	return known
}
