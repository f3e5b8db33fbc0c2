package main

import (
	"context"
	"fmt"
	"io"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify"
)

// repair writes a good card for the vessel to another target: from the shop's
// packages, and where one is missing from the same file on the card at hand,
// if it is right. The card at hand is only read. The answer in JSON is returned,
// to become part of verify's own.
func (v *verifying) repair(ctx context.Context, card verify.Verified) (*prepared, error) {
	o, packages := v.options, media.PackagesOf(v.shop)
	content := contentOf(card.Wanted.Layout)
	packages.Else = func(s media.Source) func() (io.ReadCloser, error) { return card.Report.Whole(content[s]) }
	options := o.repair
	options.to, options.ask = o.repairTo, o.ask
	if !v.session.json {
		fmt.Fprintln(v.session.out)
	}
	var answer *prepared
	p := preparing{
		session: v.session, options: options, shop: v.shop, vessel: v.vessel, packages: packages,
		answer: func(a prepared) { answer = &a },
	}
	return answer, p.run(ctx)
}

// refuseTheCardItself refuses to write to the card that is verified, by whatever name.
func refuseTheCardItself(card string, targets []string) error {
	for _, to := range targets {
		if drive.SameFile(card, to) {
			return usage(fmt.Errorf("--repair-to names the card that is verified, which is never written to: name another target"))
		}
	}
	return nil
}

// contentOf is the SHA-256 of what each source puts on a card.
func contentOf(l media.Layout) map[media.Source]digest.SHA256 {
	content := map[media.Source]digest.SHA256{}
	for _, c := range l.Cards {
		for _, f := range c.Files {
			content[f.Source] = f.SHA256
		}
	}
	return content
}
