package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/export"
	"cardwright/verify/ledger/store"
)

type exportOptions struct {
	format, output string
	people         bool
}

// The formats of audit export.
var exportFormats = []string{"csv", "json", "cyclonedx", "html"}

func newAuditExportCommand(s *session, o *auditOptions) *cobra.Command {
	var e exportOptions
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the ledger to a file: csv, json, cyclonedx or html",
		Long: `export writes the ledger for other programs: all events as csv or json, what runs
aboard as a bill of materials (cyclonedx), or a page on the fleet over time (html).`,
		Example: `  cardwright audit export -o ledger.csv
  cardwright audit export --format html -o fleet.html`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !slices.Contains(exportFormats, e.format) {
				return usage(fmt.Errorf("--format %s: expected %s", e.format, strings.Join(exportFormats, ", ")))
			}
			if e.people && e.format != "csv" && e.format != "json" {
				return usage(fmt.Errorf("--contacts goes with --format csv or json: the others are handed on"))
			}
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				return runExport(interruptible(cmd), s, e, shop, l, f)
			})
		},
	}
	cmd.Flags().StringVar(&e.format, "format", "csv", "`FORMAT`: "+strings.Join(exportFormats, ", "))
	cmd.Flags().BoolVar(&e.people, "contacts", false, "with whom to call, from contacts.yaml (csv, json)")
	cmd.Flags().StringVarP(&e.output, "output", "o", "", "write to this `FILE` instead of standard output")
	return cmd
}

func runExport(ctx context.Context, s *session, e exportOptions, shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
	if e.output == "" {
		return exported(ctx, s.out, e, shop, l, f)
	}
	out := page{flag: "output", path: e.output, shop: shop}
	if err := out.check(); err != nil {
		return err
	}
	// The file is written under another name and renamed when complete; it is never held
	// in memory, since a ledger may be large.
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := exported(ctx, w, e, shop, l, f)
		w.CloseWithError(err)
		done <- err
	}()
	err := out.put(r)
	r.Close() // ends the other side where the file could not be written
	if failed := <-done; failed != nil && !errors.Is(failed, io.ErrClosedPipe) {
		return failed
	}
	if err != nil {
		return fmt.Errorf("writing the export: %w", err)
	}
	return nil
}

// momentsShown is at how many moments the page shows how the fleet stood.
const momentsShown = 12

func exported(ctx context.Context, w io.Writer, e exportOptions, shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
	about := export.About{Shop: shop.Name, Ledger: l.ID(), Made: time.Now().UTC().Truncate(time.Second)}
	events := func(give func(ledger.Event) error) error { return audit.Events(ctx, l, "", f, give) }
	var calls []export.Call
	if e.people {
		people, err := contacts.Load(shop.Dir)
		if err != nil {
			return usage(err)
		}
		about.Contacts = append([]contacts.Contact{}, people...)
		for _, c := range people {
			calls = append(calls, export.Call{Vessel: c.Vessel, Name: c.Name, Phone: c.Phone, Email: c.Email})
		}
	}
	switch e.format {
	case "csv":
		return export.CSV(w, events, calls...)
	case "json":
		heads, err := l.Heads(ctx)
		if err != nil {
			return err
		}
		return export.JSON(w, about, heads, events)
	}
	fleet, err := audit.OfFleet(ctx, l, shop.Models, f)
	if err != nil {
		return err
	}
	if e.format == "cyclonedx" {
		return export.CycloneDX(w, about, fleet)
	}
	stood, err := audit.OverTime(ctx, l, shop.Models, fleet, f, about.Made, momentsShown)
	if err != nil {
		return err
	}
	return export.HTML(w, about, fleet, stood, func(vessel string) (audit.History, error) {
		h, err := audit.OfVessel(ctx, l, vessel, time.Time{}, f)
		h.ByCatalogue(shop.Models)
		return h, err
	})
}
