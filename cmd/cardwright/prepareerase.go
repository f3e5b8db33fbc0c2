package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"golang.org/x/term"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/readers"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// guardDrive opens a drive for writing, held exclusively, if it is a card that
// may be erased and the user has agreed to erase just this one.
func (p *preparing) guardDrive(ctx context.Context, t *cardTarget) error {
	listed, err := listedDrive(ctx, t.path)
	if err != nil {
		return err
	}
	least, most := t.job.Card.Limits.Nominal()
	if err := mayErase(t.path, listed, readers.Limits{Least: least, Most: most}); err != nil {
		return err
	}
	before, err := lookAtDrive(t.path)
	if err != nil {
		return err
	}
	if err := p.agreed(ctx, t, listed, before); err != nil {
		return err
	}
	d, err := drive.OpenDrive(t.path, true)
	if err != nil {
		return err
	}
	t.drive, t.medium = d, d
	if d.Bytes() != t.bytes {
		return fmt.Errorf("%s holds %s now and held %s a moment ago: nothing was erased; look at it again with cardwright readers",
			t.path, media.Bytes(d.Bytes()), media.Bytes(t.bytes))
	}
	now, err := lookAtCard(d)
	if err != nil {
		return err
	}
	if !readers.SameCode(before.code, now.code) {
		return fmt.Errorf("%s holds another card now (code %s, before %s): nothing was erased; look at it again with cardwright readers", t.path, now.code, before.code)
	}
	return p.save(ctx, t, now)
}

func mayErase(path string, listed readers.Drive, limits readers.Limits) error {
	if v := readers.MayErase(listed, limits); !v.OK {
		return fmt.Errorf("%s is not erased: it %s", path, strings.Join(v.Reasons, "; it "))
	}
	return nil
}

// seenCard is a card as it was before anything is done to it.
type seenCard struct {
	code    string
	listing verify.Listing
}

func lookAtCard(card media.Medium) (seenCard, error) {
	if err := card.Forget(); err != nil {
		return seenCard{}, err
	}
	g := verify.List(card, card.Bytes())
	code, err := readers.Code(card, card.Bytes(), g.Root)
	return seenCard{code, g}, err
}

func lookAtDrive(path string) (seenCard, error) {
	d, err := drive.OpenDrive(path, false)
	if err != nil {
		return seenCard{}, err
	}
	seen, err := lookAtCard(d)
	return seen, errors.Join(err, d.Close())
}

// listedDrive finds a drive in the system's own listing.
func listedDrive(ctx context.Context, path string) (readers.Drive, error) {
	whole, err := drive.Whole(path)
	if errors.Is(err, drive.ErrMissing) {
		return readers.Drive{}, unknownDrive(path, err)
	}
	if err != nil {
		return readers.Drive{}, err
	}
	drives, err := readers.List(ctx)
	if err != nil {
		return readers.Drive{}, err
	}
	for _, d := range drives {
		if d.Path == whole {
			return d, nil
		}
	}
	return readers.Drive{}, unknownDrive(path, nil)
}

// agreed asks whether this very card may be erased, where what was said before
// isn't enough.
func (p *preparing) agreed(ctx context.Context, t *cardTarget, listed readers.Drive, seen seenCard) error {
	o := t.overwriting(seen.listing)
	o.Unread, o.Loop = knownBySystem(listed), listed.Type == "loop"
	p.tellHeld(t.path, heldOn(ctx, p.shop, listed, seen.listing))
	if o.OthersFiles() {
		p.showLoss(seen.listing)
	}
	named := slices.ContainsFunc(p.options.erase, func(code string) bool { return readers.SameCode(seen.code, code) })
	switch o.Consent(verify.Agreement{
		Yes: p.session.yes, Lose: p.options.loseFiles, Save: p.options.saveFirst != "",
		Named: named, NamedNot: len(p.options.erase) > 0 && !named,
	}) {
	case verify.Given:
		return nil
	case verify.LosesFiles:
		return fmt.Errorf("%s holds files that cardwright did not write, or may: nothing was erased; --save-first FILE keeps a copy of the whole card, --lose-files gives them up", t.path)
	case verify.NotNamed:
		return fmt.Errorf("%s has the code %s, which --erase doesn't name: nothing was erased; is it the right card?", t.path, seen.code)
	}
	return p.ask(ctx, t.path, listed, seen)
}

// ask has the user type the card's code.
func (p *preparing) ask(ctx context.Context, path string, listed readers.Drive, seen seenCard) error {
	in, ok := p.session.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return fmt.Errorf("erasing %s needs a person's word: at a terminal, or --erase %s", path, seen.code)
	}
	fmt.Fprintf(p.session.errs, "%s: %s, %s\nAll of it will be erased. To go on, type the card's code %s: ",
		path, media.Bytes(listed.Bytes), visible.Visible(described(listed)), seen.code)
	typed, err := lineTyped(ctx, bufio.NewReader(in))
	if err != nil {
		fmt.Fprintln(p.session.errs) // nobody ended the line of the question
		return fmt.Errorf("asking whether to erase, nothing was erased: %w", err)
	}
	if !readers.SameCode(seen.code, typed) {
		return fmt.Errorf("what was typed is not the code of %s: nothing was erased", path)
	}
	return nil
}

// described is a drive in a few words: what the reader calls itself.
func described(d readers.Drive) string {
	words := strings.TrimSpace(d.Vendor + " " + d.Model)
	if words == "" {
		words = d.Type
	}
	if d.Transport != "" {
		words += " on " + d.Transport
	}
	return words
}

// showLoss tells of the files on a card that nobody here wrote.
func (p *preparing) showLoss(g verify.Listing) {
	for _, lot := range verify.BySort(g.Foreign) {
		newest := ""
		if !lot.Newest.IsZero() {
			newest = ", newest of " + lot.Newest.Format("2006-01-02")
		}
		fmt.Fprintf(p.session.errs, "  %s: %s, %s%s\n", lot.Sort, counted(lot.Count, "file"), media.Bytes(lot.Bytes), newest)
	}
	if g.Unread {
		fmt.Fprintln(p.session.errs, "  and more that could not be read")
	}
}

// knownBySystem is a file system that the system names on a drive, or on a part
// of it, "" where it names none.
func knownBySystem(d readers.Drive) string {
	for _, at := range append([]readers.Drive{d}, d.Parts...) {
		if at.FileSystem != "" {
			return at.FileSystem
		}
	}
	return ""
}

// heldOn is what a drive's card holds, where nothing is known here as the system
// names it.
func heldOn(ctx context.Context, shop *manifest.Shop, listed readers.Drive, g verify.Listing) string {
	if name := knownBySystem(listed); name != "" && g.FileSystem == "" {
		return "a file system that can't be read here: " + name
	}
	return holds(ctx, shop, g)
}

// save keeps a verified copy of the whole card before it is erased.
func (p *preparing) save(ctx context.Context, t *cardTarget, seen seenCard) error {
	path := p.options.saveFirst
	if o := t.overwriting(seen.listing); path == "" || o.NothingToSave() {
		return nil
	}
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already: nothing was erased; choose another name for the copy", path)
	}
	image, err := drive.CreateImage(path, t.bytes)
	if err != nil {
		return err
	}
	fmt.Fprintln(p.session.errs, wrapped(fmt.Sprintf("First the whole card (%s) is copied to %s, and the copy compared. Nothing is erased before that.", media.Bytes(t.bytes), path), ""))
	bar, phase := p.session.bar("copying the card", t.bytes), media.Writing
	err = media.Save(ctx, t.medium, image, func(now media.Phase, n int64) {
		if now != phase { // the copy is as long as the card: counted anew
			bar.end()
			bar, phase = p.session.bar("comparing the copy", t.bytes), now
		}
		bar.add(n)
	})
	bar.end()
	if err == nil {
		err = image.Commit()
	}
	if err != nil {
		return errors.Join(err, image.Abandon())
	}
	fmt.Fprintf(p.session.errs, "The card was saved to %s and the copy compared.\n", visible.Visible(path))
	return nil
}
