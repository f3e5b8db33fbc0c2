package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify"
	"cardwright/verify/ledger/audit"
)

// holds says what a card holds, with what the shop's ledger tells of it. shop is
// nil where there is none.
func holds(ctx context.Context, shop *manifest.Shop, g verify.Listing) string {
	if shop == nil {
		return g.Holds("", nil)
	}
	return g.Holds(shop.Name, making(ctx, shop, g.Record))
}

// making looks a card up in the ledger. Without a ledger, or one that can't be
// read, nothing is known; that is no reason not to go on.
func making(ctx context.Context, shop *manifest.Shop, r *media.Record) *verify.Making {
	if r == nil || r.Shop != shop.Name {
		return nil
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return nil
	}
	defer l.Close() // opened for reading only
	e, ok, err := audit.Making(ctx, l, r.Vessel, r.Plan, r.VolumeID)
	if err != nil || !ok {
		return nil
	}
	return &verify.Making{At: e.At, Proven: e.Card.Verdict == string(verify.Good)}
}

// overwriting is the target with what stands on it.
func (t *cardTarget) overwriting(on verify.Listing) verify.Overwriting {
	return verify.Overwriting{Holds: on, Meant: t.job.Layout.Record(t.job.Card)}
}

// tellHeld says what is on a target before it goes.
func (p *preparing) tellHeld(path, held string) {
	fmt.Fprintln(p.session.errs, wrapped(fmt.Sprintf("%s holds %s.", path, held), "  "))
}

// guardFolder looks at what a folder holds. Files that aren't a card's are left
// to WriteFolder, which finds them anyway.
func (p *preparing) guardFolder(ctx context.Context, t *cardTarget) error {
	g := verify.ListFolder(t.path)
	if g.Record == nil {
		return nil
	}
	held := holds(ctx, p.shop, g)
	if o := t.overwriting(g); o.AnotherCard() && !p.options.loseFiles {
		return fmt.Errorf("%s holds %s: nothing was touched; name another folder, or --lose-files to replace that card", t.path, held)
	}
	p.tellHeld(t.path, held)
	return nil
}

// mayReplace refuses to replace a file that isn't just the card that the image
// is to become.
func (p *preparing) mayReplace(ctx context.Context, t *cardTarget) error {
	if isShops(p.shop, t.path) {
		return usage(fmt.Errorf("%s is a file of the shop: it was left as it is; choose another name", t.path))
	}
	old, err := openToRead(t.path, imageTarget)
	if errors.Is(err, drive.ErrNotImage) {
		if p.options.loseFiles || isEmpty(t.path) {
			return nil
		}
		return fmt.Errorf("%s is there already and is no card image: it was left as it is; choose another name, or --lose-files to replace it", t.path)
	}
	if err != nil {
		return err
	}
	defer old.Close()
	g := verify.List(old, old.Bytes())
	held := holds(ctx, p.shop, g)
	o := t.overwriting(g)
	if !p.options.loseFiles && !o.LosesNothing(g.Blank && allZero(ctx, old, old.Bytes())) {
		return fmt.Errorf("%s is there already and holds %s: it was left as it is; choose another name, or --lose-files to replace it", t.path, held)
	}
	p.tellHeld(t.path, held)
	return nil
}

// allZero tells whether nothing but zeros stands in an image.
func allZero(ctx context.Context, read io.ReaderAt, size int64) bool {
	block := make([]byte, 1<<20)
	for at := int64(0); at < size && ctx.Err() == nil; at += int64(len(block)) {
		part := block[:min(int64(len(block)), size-at)]
		if n, _ := read.ReadAt(part, at); n < len(part) || len(bytes.Trim(part, "\x00")) > 0 {
			return false
		}
	}
	return ctx.Err() == nil
}
