package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

func newAuditCheckCommand(s *session) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Check every event; name the first link that is broken",
		Long: `check reads the whole ledger: an edited, removed, reordered or forged event is
found, and the first broken link named. That events at the end of a chain were
removed shows only against heads that were saved elsewhere (--heads).`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runAuditCheck(interruptible(cmd), s, o)
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&o.place, "ledger", "", "another ledger than the shop's: a file or a postgres:// address")
	return cmd
}

func runAuditCheck(ctx context.Context, s *session, o checkOptions) error {
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
	r, err := store.CheckAt(ctx, place, against)
	if err != nil {
		return fmt.Errorf("checking the ledger: %w", err)
	}
	s.answer(r, func(w io.Writer) { writeCheck(w, r) })
	switch r.Verdict {
	case store.Whole:
		return nil
	case store.Unproven:
		return &answered{exitUnchecked}
	}
	return &answered{exitNo}
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
	cmd.Flags().StringArrayVar(&o.heads, "heads", nil, "report of an earlier backup (JSON): its heads show whether a tail was removed; may be repeated")
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
