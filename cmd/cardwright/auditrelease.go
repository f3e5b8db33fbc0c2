package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

func newAuditReleaseCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:     "release MODEL VERSION",
		Short:   "List the boats that have a release, had it, or carried it",
		Long:    `release lists every boat that runs a release, ran it, or had it on a card.`,
		Example: `  cardwright audit release fennick-sweep-2 1.8`,
		Args:    exactly(2, "a model and a version"),
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := version.Parse(args[1])
			if err != nil {
				return usage(err)
			}
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				model := args[0]
				if id := edit.ID(model); shop.Model(model) == nil && shop.Model(id) != nil {
					model = id // written as people do: Fennick Plot 9
				}
				u, err := audit.OfRelease(interruptible(cmd), l, model, v, f)
				if err == nil && u.Nothing() {
					err = unheardWords(audit.Heard(interruptible(cmd), l, shop.Models, model, v))
				}
				if err != nil {
					return err
				}
				if m := shop.Model(u.Model); m != nil {
					u.Was(m.History)
				}
				s.answer(u, func(w io.Writer) { writeRelease(w, u) })
				return nil
			})
		},
	}
}

// unheardWords says of a release that nobody has heard of which one may be meant.
func unheardWords(err error) error {
	e, ok := errors.AsType[*audit.Unheard](err)
	if !ok {
		return err
	}
	what := fmt.Sprintf("no %s %s", e.Model, e.Version)
	if e.NoModel {
		what = fmt.Sprintf("no model %q", e.Model)
	}
	return fmt.Errorf("%w, and the catalogue has %s%s; it has: %s", audit.ErrNothing, what, tryIt(e.Nearest), or(strings.Join(e.Has, ", "), "none"))
}

func writeRelease(w io.Writer, u audit.ReleaseUse) {
	text := fmt.Sprintf("%s %s: %s it now, %s it before, %s it on a card.", u.Model, u.Version,
		verb(len(u.Has), "has", "have"), verb(len(u.Had), "had", "had"), verb(len(u.Carried), "had", "had"))
	fmt.Fprintln(w, wrapped(text, "  "))
	var said []string
	for _, x := range u.Withdrawn { // the catalogue and the ledger mostly say the same
		if why := x.Why + ofVariant(x.Variant); !slices.Contains(said, why) {
			said = append(said, why)
			fmt.Fprintf(w, "✗ Withdrawn%s: %s\n", ofVariant(x.Variant), wrapped(x.Why, "  "))
		}
	}
	for _, r := range u.Replaced {
		text := fmt.Sprintf("Other bytes: %s%s, until %s: %s", r.File, ofVariant(r.Variant), r.Until, r.Why)
		fmt.Fprintf(w, "! %s\n", wrapped(text, "  "))
	}
	writeLeftOut(w, u.LeftOut)
	writeUses(w, "has it", u.Has)
	writeUses(w, "had it", u.Had)
	writeCarried(w, u.Carried, u.Replaced)
}

// writeCarried lists the cards that went out with a release, and which of them may
// carry other bytes than it has now.
func writeCarried(w io.Writer, all []audit.Carried, was []audit.Replaced) {
	for _, c := range all {
		text := fmt.Sprintf("card    %s, %s: %s, last %s", vesselText(c.Vessel)+markGone(c.VesselGone), c.Device, counted(c.Cards, "card"), date(c.Last))
		for _, r := range was {
			if date(c.First) <= r.Until.String() {
				text += "; the first is of " + date(c.First) + " and may carry the old bytes"
				break
			}
		}
		fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
	}
}

func verb(n int, one, many string) string {
	if n == 1 {
		return "1 device " + one
	}
	return fmt.Sprintf("%d devices %s", n, many)
}

func writeUses(w io.Writer, what string, uses []audit.Use) {
	for _, x := range uses {
		text := fmt.Sprintf("%s  %s, %s%s, read %s", what, vesselText(x.Vessel)+markGone(x.VesselGone), x.Device.ID, serialText(x), date(x.First))
		if date(x.First) != date(x.Last) {
			text += " to " + date(x.Last)
		}
		if x.MayRun() {
			text += "; nobody knows what it runs now"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
	}
}

// markGone marks a vessel that is no longer served.
func markGone(gone bool) string {
	if gone {
		return " (gone)"
	}
	return ""
}

func serialText(x audit.Use) string {
	switch {
	case x.Serial == "":
		return ""
	case x.Replaced():
		return fmt.Sprintf(" (serial %s, replaced since)", x.Serial)
	}
	return fmt.Sprintf(" (serial %s)", x.Serial)
}
