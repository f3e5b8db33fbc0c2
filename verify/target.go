package verify

import (
	"context"
	"fmt"
	"slices"

	"cardwright/manifest/order"
	"cardwright/media/drive"
)

// Verified is a card that was read back and judged.
type Verified struct {
	Report Report
	Wanted Wanted
	Bytes  int64  // measured; 0 for a folder
	Whose  string // whose card it is, where it isn't the one asked for; "": it is, or nobody knows

	card drive.ReadOnly // nil for a folder
}

// Close gives the card back. Until then Report.Whole reads from it.
func (v Verified) Close() {
	if v.card != nil {
		_ = v.card.Close() // it was only read
	}
}

// Watch shows how far the reading of so many bytes is: add gets each part,
// from several goroutines at once, end that it is over.
type Watch func(bytes int64) (add func(bytes int64), end func())

// Target opens a card by the name of its drive, image file or folder, reads it back
// and judges it. What comes back is to be closed; with an error it is already. The error says
// why there is no verdict: the card can't be opened, what it should hold can't be
// found out (see Asked.Wanted), or the run was interrupted.
func Target(ctx context.Context, path string, asked Asked, watch Watch) (v Verified, err error) {
	defer func() {
		if err != nil {
			v.Close()
			v.card = nil
		}
	}()
	kind, err := drive.KindOf(path)
	if err != nil {
		return v, err
	}
	var on Listing
	if kind == drive.Folder {
		on = ListFolder(path)
	} else {
		if v.card, err = drive.OpenToRead(path, kind); err != nil {
			return v, err
		}
		v.Bytes = v.card.Bytes()
		on = List(v.card, v.Bytes)
	}
	if v.Wanted, err = asked.Wanted(on, v.Bytes); err != nil {
		return v, err
	}
	add, end := watch(on.FileBytes())
	if kind == drive.Folder {
		v.Report = Folder(ctx, path, &v.Wanted.Expected, add)
	} else {
		v.Report = Card(ctx, v.card, v.Bytes, &v.Wanted.Expected, add)
		v.Report.AddHowRead(kind, v.card)
	}
	end()
	if ctx.Err() != nil {
		return v, fmt.Errorf("verifying %s: %w", path, ctx.Err())
	}
	if asked.Vessel != nil {
		v.Whose = v.Report.Whose(on.Record, AskedFor{Shop: asked.Shop.Name, Vessel: asked.Vessel.Name, Card: v.Wanted.Card}, asked.Made(on.Record))
	}
	return v, nil
}

// PlanOnIt is the card's plan with the folders as they are on it; soFar has the
// folders that other cards of the plan have shown.
func (v Verified) PlanOnIt(soFar order.Plan) order.Plan {
	plan := v.Wanted.Plan
	if len(soFar.Steps) == len(plan.Steps) && soFar.ID() == plan.ID() {
		plan.Steps = soFar.Steps
	}
	plan.Steps = slices.Clone(plan.Steps)
	for i, b := range v.Report.Brings {
		if b.Whole && i < len(plan.Steps) {
			plan.Steps[i].Folder = b.Folder
		}
	}
	return plan
}

// HowRead reports how a card was read: whether past every cache, and if not, how.
type HowRead interface {
	FromMedium() bool
	HowRead() string
}

// AddHowRead adds what the verdict leaves open by the way in which the card was read.
func (r *Report) AddHowRead(kind drive.Kind, card HowRead) {
	switch {
	case kind == drive.ImageFile:
		r.AddImageOnly()
	case !card.FromMedium():
		r.AddCached(card.HowRead())
	}
}
