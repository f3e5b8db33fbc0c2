package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
	"cardwright/verify/ledger/unchanged"
)

// auditOptions narrow every question.
type auditOptions struct {
	since, until              string
	berth, technician, makers string
}

func (o *auditOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.PersistentFlags()
	flags.StringVar(&o.since, "since", "", "from this `DAY` on: 2026-03-02")
	flags.StringVar(&o.until, "until", "", "up to the end of this `DAY`, or to a time: 2026-03-02 14:30")
	flags.StringVar(&o.berth, "berth", "", "vessels at this `BERTH`, or in this harbour: 'Hollin Quay' is all of its berths")
	flags.StringVar(&o.technician, "technician", "", "work of this technician: `WHO` as written in the ledger")
	flags.StringVar(&o.makers, "maker", "", "devices of this `MAKER`")
}

func (o auditOptions) filter() (audit.Filter, error) {
	f := audit.Filter{Berth: o.berth, Technician: o.technician, Maker: o.makers}
	var err error
	if o.since != "" {
		if f.From, err = day(o.since); err != nil {
			return f, err
		}
	}
	if o.until != "" {
		if f.To, err = momentOrEnd(o.until); err != nil {
			return f, err
		}
	}
	if o.since != "" && o.until != "" && f.To.Before(f.From) {
		return f, usage(fmt.Errorf("--since %s is after --until %s: name the earlier day with --since", o.since, o.until))
	}
	return f, nil
}

func newAuditCommand(s *session) *cobra.Command {
	var o auditOptions
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "Ask the ledger what went onto which boat",
		Long: `audit answers from the ledger: what a vessel ran on any day, which boats have a
release or had it on a card, who is behind, who must be called. Nothing is
changed by asking.`,
	}
	o.addFlags(cmd)
	cmd.AddCommand(newAuditVesselCommand(s, &o), newAuditReleaseCommand(s, &o), newAuditFleetCommand(s, &o),
		newAuditDueCommand(s, &o), newAuditWithdrawnCommand(s, &o), newAuditCardCommand(s, &o),
		newAuditExportCommand(s, &o), newAuditCheckCommand(s))
	return cmd
}

// asked opens the ledger for one question.
func asked(ctx context.Context, s *session, o *auditOptions, ask func(*manifest.Shop, *store.Ledger, audit.Filter) error) error {
	if err := s.sureMoment(ctx, "--until", &o.until); err != nil {
		return err
	}
	filter, err := o.filter()
	if err != nil {
		return err
	}
	shop, err := s.shop()
	if err != nil {
		return err
	}
	holds := ledgerHolds(ctx, s, shop)
	_, isChanged := errors.AsType[*unchanged.Changed](holds)
	if holds != nil && !isChanged {
		return holds
	}
	if isChanged {
		s.complain("don't rely on this answer: " + holds.Error())
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return err
	}
	defer l.Close()
	if err := ask(shop, l, filter); err != nil {
		return err
	}
	if isChanged {
		return &answered{exitNo}
	}
	fmt.Fprintf(s.errs, "The whole ledger was last checked on %s.\n", clock(s.looked.checked))
	return nil
}

// answer writes a value as JSON, or as text.
func (t *terminal) answer(v any, text func(io.Writer)) {
	if t.json {
		t.writeJSON(v)
		return
	}
	text(t.text())
}

func vesselText(v audit.Vessel) string {
	if v.ID == "" {
		return "vessel unknown"
	}
	text := v.ID
	if v.Name != "" {
		text = v.Name + " (" + v.ID + ")"
	}
	if v.Berth != "" {
		text += " at " + v.Berth
	}
	return text
}
