package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

func newAuditVesselCommand(s *session, o *auditOptions) *cobra.Command {
	var at, plot string
	cmd := &cobra.Command{
		Use:   "vessel VESSEL",
		Short: "Show a vessel's history, and what it ran on a day",
		Long: `vessel shows what was done aboard, newest last, and what each device runs. --at shows
what it ran on an earlier day.`,
		Example: `  cardwright audit vessel kittiwake
  cardwright audit vessel kittiwake --at 2026-03-02`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			moment := time.Time{}
			if at != "" {
				err := s.sureMoment(interruptible(cmd), "--at", &at)
				if err != nil {
					return err
				}
				if moment, err = momentOrEnd(at); err != nil {
					return err
				}
			}
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				if err := (page{flag: "plot", path: plot, shop: shop}).check(); err != nil {
					return err
				}
				id := args[0]
				if v, err := vesselCalled(shop, id); err == nil {
					id = v.ID
				} else if v, err := noted(interruptible(cmd), l, id); err == nil && v != nil {
					id = v.ID
				}
				h, err := audit.OfVessel(interruptible(cmd), l, id, moment, f)
				if err != nil {
					if _, unknown := vesselCalled(shop, args[0]); unknown != nil && errors.Is(err, audit.ErrNothing) {
						return fmt.Errorf("%w, and there is %s", audit.ErrNothing, unknown.Error())
					}
					return err
				}
				h.ByCatalogue(shop.Models)
				var beside known.Joined
				if v := shop.Vessel(id); v != nil && moment.IsZero() {
					wrote, err := record.LastWritten(shop, v)
					if err != nil {
						return err
					}
					beside = *known.Join(h.Known, v, wrote)
				}
				s.answer(struct {
					audit.History
					File []known.FileDiffers `json:"file,omitempty"`
				}{h, beside.Differs}, func(w io.Writer) {
					writeHistory(w, h.Vessel.ID, h)
					for _, o := range beside.FileOpen() {
						fmt.Fprintln(w, wrapped(visible.Visible("! "+o.On()+": "+s.keepShop(openHere(o, id))), "  "))
					}
				})
				return plotSwings(&s.terminal, shop, plot, h.Swings)
			})
		},
	}
	cmd.Flags().StringVar(&plot, "plot", "", "write a picture (`PNG`) of how A to E of the compass went over the years")
	cmd.Flags().StringVar(&at, "at", "", "as it was at the end of this `DAY`, or at a time: 2026-03-02 14:30")
	return cmd
}

// noted finds the one vessel of the ledger that a word means, also one that is gone; nil
// where there isn't just one.
func noted(ctx context.Context, l *store.Ledger, word string) (*manifest.Vessel, error) {
	all, err := audit.Vessels(ctx, l)
	if err != nil {
		return nil, err
	}
	book := &manifest.Shop{}
	for _, v := range all {
		book.Vessels = append(book.Vessels, &manifest.Vessel{ID: v.ID, Name: v.Name, Formerly: v.Formerly})
	}
	found := book.VesselsCalled(word)
	if len(found) != 1 {
		return nil, nil
	}
	return found[0], nil
}

func writeHistory(w io.Writer, id string, h audit.History) {
	if len(h.Lines) == 0 && len(h.Devices) == 0 {
		text := "nothing in the ledger"
		if h.At != nil {
			text += " until " + clock(*h.At)
		}
		fmt.Fprintf(w, "%s: %s.\n", visible.Visible(id), text)
		writeLeftOut(w, h.LeftOut)
		return
	}
	when := "now"
	if h.At != nil {
		when = "at " + clock(*h.At)
	}
	if len(h.Vessel.Formerly) > 0 {
		id += " (formerly " + strings.Join(h.Vessel.Formerly, ", ") + ")"
	}
	fmt.Fprintf(w, "%s %s: %s on record.\n\n", visible.Visible(id), when, counted(len(h.Devices), "device"))
	for _, d := range h.Devices {
		writeDevice(w, d)
		for _, o := range d.Open {
			if o.Kind != known.Disputed { // said already
				fmt.Fprintf(w, "    %s\n", wrapped("! "+o.Tell(func(o *known.Open) string { return date(o.At) }), "      "))
			}
		}
	}
	writeLeftOut(w, h.LeftOut)
	for i, c := range h.Contradictions {
		if i == 0 {
			fmt.Fprintln(w)
		}
		text := fmt.Sprintf("✗ %s: %s, then %s", c.Kind, readingText(c.Earlier), readingText(c.Later))
		fmt.Fprintln(w, wrapped(text, "  "))
	}
	for _, v := range h.Also {
		text := fmt.Sprintf("Note: %s has the same number or hull: look there too, if it is the same boat", vesselText(v))
		fmt.Fprintln(w, wrapped(text, "      "))
	}
	writeSwings(w, h.Swings)
	fmt.Fprintln(w, "\nHistory (by this computer's clock, each time with its offset from UTC):")
	for _, l := range h.Lines {
		struck := ""
		if l.CorrectedBy != "" {
			struck = " (corrected later)"
		}
		if l.Entry.At.After(time.Now().Add(24 * time.Hour)) {
			struck += " (a day that hasn't come: that clock was wrong)"
		}
		text := fmt.Sprintf("%s  %s  %s, by %s%s", clock(l.Entry.At), l.Event.Short(), l.Entry.Tell(), l.Technician, struck)
		fmt.Fprintln(w, wrapped(text, "    "))
	}
}

// writeLeftOut reports events that count in no answer.
func writeLeftOut(w io.Writer, left audit.LeftOut) {
	if left.Count == 0 {
		return
	}
	text := fmt.Sprintf("! %s left out: shop.yaml doesn't trust who wrote them.", counted(left.Count, "event"))
	fmt.Fprintln(w, wrapped(text, "  "))
	for _, l := range left.Lines {
		text := fmt.Sprintf("%s  %s  %s, by %s (key %.12s…)", clock(l.Entry.At), l.Event.Short(), l.Entry.Tell(), l.Technician, l.Writer)
		fmt.Fprintf(w, "    %s\n", wrapped(text, "      "))
	}
}

func readingText(r ledger.Reading) string {
	return fmt.Sprintf("%s %s on %s", r.Device.ID, r.Version, date(r.At))
}

func writeDevice(w io.Writer, d audit.Device) {
	state := string(d.Version)
	switch {
	case d.Gone:
		state = "no longer aboard"
	case d.Other != "":
		state += " or " + string(d.Other) + " (two writers disagree)"
	}
	text := fmt.Sprintf("%s (%s): %s since %s", d.ID, d.Model, state, date(d.Since))
	if d.How != "" && d.How != known.NobodyKnows {
		text += ", " + string(d.How)
	}
	fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
}
