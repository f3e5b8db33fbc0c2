package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
	"cardwright/verify/ledger/unchanged"
	"cardwright/verify/visible"
)

// auditCheck is what audit check was asked.
type auditCheck struct {
	checkOptions
	again  bool
	accept string
}

func newAuditCheckCommand(s *session) *cobra.Command {
	var o auditCheck
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Check every event, and name the first that is broken",
		Long: `check says whether the ledger is what was signed. It finds events that were edited,
removed, reordered or forged, and names the first broken link. Events that it checked
before aren't read again while nobody wrote to them; --again reads them all.

An older state of the ledger lacks events that this computer has seen. check says so,
and so does every answer. A sync with a ledger that has these events brings them back.
Where an old backup is all that is left, --accept makes it the ledger: answers use it,
and the missing events are no longer reported. Your reason is kept on this computer,
and every check shows it. The writers of the lost events begin new chains; if the
events turn up later, a sync takes them in. An edited ledger stays refused.`,
		Example: `  cardwright audit check
  cardwright audit check --accept 'disk failed, backup of 28 February'`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("accept") && strings.TrimSpace(o.accept) == "" {
				return usage(errors.New("--accept: say why events are gone, as in --accept 'disk failed, backup of 28 February'"))
			}
			return runAuditCheck(interruptible(cmd), s, o)
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&o.place, "ledger", "", "another `LEDGER` than the shop's: a file or a postgres:// address")
	cmd.Flags().BoolVar(&o.again, "again", false, "read every event, also those that were checked before")
	cmd.Flags().StringVar(&o.accept, "accept", "", "accept an older state of the ledger, and say `WHY`")
	return cmd
}

func runAuditCheck(ctx context.Context, s *session, o auditCheck) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	against, err := o.against(s, shop)
	if err != nil {
		return err
	}
	place := o.place
	if place == "" {
		place = ledgerAddress(shop)
	}
	at := ledgerAt(&s.terminal, place)
	if o.accept != "" {
		return acceptLedger(ctx, &s.terminal, at, against, o.accept)
	}
	r, earlier, err := at.Check(ctx, against, o.again)
	if err != nil {
		return fmt.Errorf("checking the ledger: %w", err)
	}
	r.Notes = append(r.Notes, acceptedNotes(earlier)...)
	s.answer(r, func(w io.Writer) { writeCheck(w, r) })
	switch r.Verdict {
	case store.Whole:
		return nil
	case store.Unproven:
		return &answered{exitUnchecked}
	}
	return &answered{exitNo}
}

// acceptedNotes tell of older states that were accepted here.
func acceptedNotes(all []store.Accepted) (notes []string) {
	for _, a := range all {
		notes = append(notes, fmt.Sprintf("on %s an older state was accepted here (%s): %s", clock(a.At), visible.Visible(a.Why), goneText(a)))
	}
	return notes
}

func goneText(a store.Accepted) string {
	text := counted(len(a.Lost), "chain") + " had gone further"
	for i, h := range a.Lost {
		if i == 3 {
			return text + ", …"
		}
		text += fmt.Sprintf(", %.8s… to event %d", h.Chain, h.Seq)
	}
	return text
}

// acceptLedger takes an older state of a ledger for the ledger.
func acceptLedger(ctx context.Context, t *terminal, at unchanged.Ledger, against store.CheckOptions, why string) error {
	a, err := at.Accept(ctx, against, why)
	if changed, is := errors.AsType[*unchanged.Changed](err); is {
		t.answer(changed.Report, func(w io.Writer) { writeCheck(w, changed.Report) })
		t.complain("not accepted: only an intact ledger can be accepted; this one was changed or is damaged")
		return &answered{exitNo}
	}
	if errors.Is(err, store.ErrNothingLost) {
		t.complain(store.ErrNothingLost.Error())
		return nil
	}
	if err != nil {
		return err
	}
	t.answer(accepted{1, a}, func(w io.Writer) { writeAccepted(w, a) })
	return nil
}

// accepted is the answer of audit check --accept.
type accepted struct {
	Format int `json:"format"`
	store.Accepted
}

func writeAccepted(w io.Writer, a store.Accepted) {
	fmt.Fprintf(w, "Accepted: the ledger counts as it is. %s.\n", wrapped(goneText(a), "  "))
	fmt.Fprintln(w, "Should those events turn up, on another laptop say, a sync takes them in.")
	if a.Kept != "" {
		fmt.Fprintln(w, wrapped("This computer's copy with them was put aside: "+visible.Visible(a.Kept), "  "))
	}
}

var checkLines = map[store.Verdict]string{
	store.Whole: "✓ WHOLE", store.Edited: "✗ EDITED", store.Damaged: "✗ DAMAGED", store.Unproven: "? UNPROVEN",
}

func writeCheck(w io.Writer, r store.CheckReport) {
	fmt.Fprintf(w, "%s: %s in %s.\n", checkLines[r.Verdict], counted(int(r.Events), "event"), counted(len(r.Chains), "chain"))
	if b := r.First; b != nil {
		where := ""
		if b.Seq > 0 {
			where = fmt.Sprintf(", event %d of chain %s", b.Seq, b.Chain)
		}
		text := fmt.Sprintf("First broken link: %s%s: found %s, expected %s. It means: %s. Do: %s.", b.Kind, where, b.Found, b.Expected, b.Meaning, b.Advice)
		fmt.Fprintln(w, wrapped(text, "  "))
		if more := len(r.Breaks) - 1 + r.More; more > 0 {
			fmt.Fprintf(w, "%s more; --json lists them.\n", counted(more, "break"))
		}
	}
	for _, c := range r.Chains {
		name := c.Name
		if name == "" {
			name = "a writer not known here"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(fmt.Sprintf("%s, chain %s: %s", name, c.Chain, counted(int(c.Events), "event")), "    "))
	}
	if r.Checked != nil {
		fmt.Fprintf(w, "Every event was last read on %s;\nwhat came since was checked as it came. --again reads all of them now.\n", clock(*r.Checked))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
	}
}

// checkCode is the exit code for a ledger that was checked on the way.
func checkCode(r store.CheckReport) error {
	if r.Verdict == store.Edited || r.Verdict == store.Damaged {
		return &answered{exitNo}
	}
	return nil
}

type checkOptions struct {
	key   keyOptions
	heads []string
	place string
}

func (o *checkOptions) addFlags(cmd *cobra.Command) {
	o.key.addFlag(cmd)
	cmd.Flags().StringArrayVar(&o.heads, "heads", nil, "`FILE` with the report of an earlier backup (JSON): shows whether the end of the ledger was cut off; may be repeated")
}

// against are the writers that the shop trusts and this laptop's own key. Where
// that key can't be had, only the trusted ones; where there are none either,
// nobody is known, which the check tells.
func (o checkOptions) against(s *session, shop *manifest.Shop) (store.CheckOptions, error) {
	own, err := o.key.signing()
	if err != nil && o.key.file != "" {
		return store.CheckOptions{}, err
	}
	c := store.CheckOptions{Known: knownWriters(shop, own), Words: commandWords}
	if err != nil {
		s.complain(err.Error() + "; only the keys that shop.yaml trusts are known")
		if len(c.Known) == 0 {
			c.Known = nil
		}
	}
	for _, path := range o.heads {
		h, err := savedHeads(path)
		if err != nil {
			return c, err
		}
		c.Saved = append(c.Saved, h)
	}
	return c, nil
}

// savedHeads reads the heads from the JSON that ledger backup printed.
func savedHeads(path string) (ledger.Heads, error) {
	f, err := os.Open(path)
	if err != nil {
		return ledger.Heads{}, fmt.Errorf("reading saved heads: %w", err)
	}
	defer f.Close()
	h, err := ledger.ReadHeads(f)
	switch {
	case errors.Is(err, ledger.ErrNotHeads):
		return h, usage(fmt.Errorf("%s: %w; cardwright ledger backup --json prints one", path, err))
	case errors.Is(err, ledger.ErrNewer):
		return h, usage(fmt.Errorf("%s: %w", path, err))
	case err != nil:
		return h, fmt.Errorf("%s: %w", path, err)
	}
	return h, nil
}
