package record

import (
	"slices"
	"unicode/utf8"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/ledger"
	"cardwright/verify/visible"
)

// CardSeen is a card that was prepared or verified.
type CardSeen struct {
	Shop   *manifest.Shop
	Vessel *manifest.Vessel // nil where none was named
	Plan   order.Plan
	Card   media.Card // of the plan; its number is 0 where it is none of them
	Target string     // where it was
	Bytes  int64      // measured; 0 for a folder
	Report verify.Report
}

// Kept is what the ledger keeps of a card. It lists a release only where all
// of its files were complete on it.
func (c *CardSeen) Kept() ledger.Card {
	r := &c.Report
	card := ledger.Card{
		Digest: r.Digest, Verdict: string(r.Verdict), Target: Target(c.Target), Size: c.Bytes,
		Number: c.Card.Number, Of: c.Card.Of, Findings: findingKinds(r.Findings),
	}
	if c.Card.Number > 0 {
		card.Plan, card.VolumeID, card.WayBack = c.Plan.ID(), media.VolumeText(c.Card.VolumeID), c.Plan.WayBack
	}
	for _, k := range card.Findings {
		card.Foreign = card.Foreign || k == string(verify.NoRecord) || k == string(verify.SignerUnknown)
	}
	whole := map[int]bool{}
	for _, b := range r.Brings {
		whole[b.Step] = b.Whole
	}
	for _, s := range c.Plan.Steps {
		if s.Card != c.Card.Number || s.Route != "" || len(r.Brings) > 0 && !whole[s.Number] || r.Verdict == verify.Bad {
			continue
		}
		release := ledger.CardRelease{Device: s.Device, Model: s.Model, Version: s.To}
		if m := c.Shop.Model(s.Model); m != nil {
			release.Maker = m.Maker
		}
		if d := c.Vessel.Device(s.Device); d != nil {
			release.Variant = d.Variant
		}
		card.Releases = append(card.Releases, release)
	}
	return card
}

// Target is a path as the ledger stores it: made visible, and of one that
// is too long the end, which distinguishes it.
func Target(path string) string {
	shown := visible.Visible(path)
	if len(shown) <= ledger.MaxLine {
		return shown
	}
	const left = "…"
	rest := shown[len(shown)-ledger.MaxLine+len(left):]
	for !utf8.RuneStart(rest[0]) {
		rest = rest[1:]
	}
	return left + rest
}

// findingKinds are the kinds of findings, notes apart, each once.
func findingKinds(findings []verify.Finding) (kinds []string) {
	for _, f := range findings {
		if f.Severity != verify.Note && !slices.Contains(kinds, string(f.Kind)) {
			kinds = append(kinds, string(f.Kind))
		}
	}
	return kinds
}
