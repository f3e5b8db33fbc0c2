package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/export"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// auditOptions narrow every question.
type auditOptions struct {
	since, until              string
	berth, technician, makers string
}

func (o *auditOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.PersistentFlags()
	flags.StringVar(&o.since, "since", "", "from this day on: 2026-03-02")
	flags.StringVar(&o.until, "until", "", "up to the end of this day, or to a time: 2026-03-02 14:30")
	flags.StringVar(&o.berth, "berth", "", "vessels at this berth, or in this harbour: 'Hollin Quay' is all of its berths")
	flags.StringVar(&o.technician, "technician", "", "work of this technician")
	flags.StringVar(&o.makers, "maker", "", "devices of this maker")
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

// day is the beginning of a day where this computer is: the ledger keeps UTC,
// people go by their clock.
func day(text string) (time.Time, error) {
	d, err := manifest.ParseDate(text)
	if err != nil {
		return time.Time{}, usage(fmt.Errorf("%q is not a day: expected year, month and day, as in 2026-03-02", text))
	}
	return startOfDay(d.Year(), d.Month(), d.Day(), time.Local), nil
}

// startOfDay is the first moment of a day. Where clocks are put forward at
// midnight that is one o'clock; time.Date may give eleven in the evening.
func startOfDay(year int, month time.Month, day int, loc *time.Location) time.Time {
	t := time.Date(year, month, day, 0, 0, 0, 0, loc)
	noon := time.Date(year, month, day, 12, 0, 0, 0, loc)
	if t.Day() == noon.Day() {
		return t
	}
	_, before := t.Zone()
	_, after := noon.Zone()
	return t.Add(time.Duration(after-before) * time.Second)
}

// endOfDay is the last second of a day.
func endOfDay(t time.Time) time.Time {
	return startOfDay(t.Year(), t.Month(), t.Day()+1, t.Location()).Add(-time.Second)
}

// pastMoment is when something happened. A day alone means its end, so that it
// comes after what was noted on that day; today means now.
func pastMoment(text string) (time.Time, error) {
	t, err := momentOrEnd(text)
	if err != nil {
		return t, err
	}
	now := time.Now()
	if _, err := time.Parse(time.DateOnly, text); err == nil && t.Format(time.DateOnly) == now.Format(time.DateOnly) {
		t = now
	}
	if t.After(now.Add(time.Minute)) {
		return t, usage(fmt.Errorf("%s hasn't come yet: only what was done is noted", text))
	}
	return t.UTC().Truncate(time.Second), nil
}

// clock and date write a moment as this computer's clock shows it; with its own
// offset from UTC, since summer's is another than winter's.
func clock(t time.Time) string { return t.Local().Format(momentForm) }
func date(t time.Time) string  { return t.Local().Format(time.DateOnly) }

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
	holds := s.ledgerHolds(ctx, shop)
	changed, isChanged := errors.AsType[*ledgerChanged](holds)
	if holds != nil && !isChanged {
		return holds
	}
	if isChanged {
		s.complain("don't rely on this answer: " + changed.Error())
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
	fmt.Fprintf(s.errs, "The ledger was checked whole on %s.\n", clock(s.checkedWhole))
	return nil
}

// answer writes a value as JSON, or as text.
func (s *session) answer(v any, text func(io.Writer)) {
	if s.json {
		s.writeJSON(v)
		return
	}
	text(s.text())
}

func newAuditVesselCommand(s *session, o *auditOptions) *cobra.Command {
	var at, plot string
	cmd := &cobra.Command{
		Use:   "vessel VESSEL",
		Short: "A vessel's history, and what it ran on a day",
		Args:  exactly(1, "the id of a vessel"),
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
				h, err := audit.OfVessel(interruptible(cmd), l, args[0], moment, f)
				if err != nil {
					return err
				}
				s.answer(h, func(w io.Writer) { writeHistory(w, args[0], h) })
				return s.plotSwings(shop, plot, h.Swings)
			})
		},
	}
	cmd.Flags().StringVar(&plot, "plot", "", "write a picture (PNG) of how A to E of the compass went over the years")
	cmd.Flags().StringVar(&at, "at", "", "as it was at the end of this day, or at a time: 2026-03-02 14:30")
	return cmd
}

func writeHistory(w io.Writer, id string, h audit.History) {
	if len(h.Lines) == 0 && len(h.Devices) == 0 {
		text := "nothing in the ledger"
		if h.At != nil {
			text += " until " + clock(*h.At)
		}
		fmt.Fprintf(w, "%s: %s.\n", visible.Visible(id), text)
		return
	}
	when := "now"
	if h.At != nil {
		when = "at " + clock(*h.At)
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

// writeLeftOut tells of events that count in no answer.
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
	fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
}

func newAuditReleaseCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "release MODEL VERSION",
		Short: "Every boat that has a release, had it, or carried it on a card",
		Args:  exactly(2, "a model and a version"),
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := version.Parse(args[1])
			if err != nil {
				return usage(err)
			}
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfRelease(interruptible(cmd), l, args[0], v, f)
				if err != nil {
					return err
				}
				if u.Nothing() {
					if err := knownRelease(interruptible(cmd), shop, l, u); err != nil {
						return err
					}
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

// knownRelease refuses what neither the ledger nor the catalogue has heard of:
// "nobody has it" is no answer to a name that was mistyped.
func knownRelease(ctx context.Context, shop *manifest.Shop, l *store.Ledger, u audit.ReleaseUse) error {
	everywhere, err := audit.OfRelease(ctx, l, u.Model, u.Version, audit.Filter{})
	if err != nil || !everywhere.Nothing() {
		return err
	}
	m := shop.Model(u.Model)
	if m == nil {
		var models []string
		for _, m := range shop.Models {
			models = append(models, m.ID)
		}
		return fmt.Errorf("%w, and the catalogue has no model %q; it has: %s", audit.ErrNothing, u.Model, strings.Join(models, ", "))
	}
	var versions []string
	for _, r := range m.Releases {
		if version.Compare(r.Version, u.Version) == 0 {
			return nil
		}
		versions = append(versions, string(r.Version))
	}
	return fmt.Errorf("%w, and the catalogue has no %s %s; it has: %s", audit.ErrNothing, u.Model, u.Version, strings.Join(versions, ", "))
}

func writeRelease(w io.Writer, u audit.ReleaseUse) {
	text := fmt.Sprintf("%s %s: %s it now, %s it before, %s it on a card.", u.Model, u.Version,
		verb(len(u.Has), "has", "have"), verb(len(u.Had), "had", "had"), verb(len(u.Carried), "had", "had"))
	fmt.Fprintln(w, wrapped(text, "  "))
	for _, x := range u.Withdrawn {
		fmt.Fprintf(w, "✗ Withdrawn: %s\n", wrapped(x.Why, "  "))
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

// writeCarried tells of cards that went out with a release, and which of them may
// carry other bytes than it has now.
func writeCarried(w io.Writer, all []audit.Carried, was []audit.Replaced) {
	for _, c := range all {
		text := fmt.Sprintf("card    %s, %s: %s, last %s", vesselText(c.Vessel), c.Device, counted(c.Cards, "card"), date(c.Last))
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
		text := fmt.Sprintf("%s  %s, %s%s, read %s", what, vesselText(x.Vessel), x.Device.ID, serialText(x), date(x.First))
		if date(x.First) != date(x.Last) {
			text += " to " + date(x.Last)
		}
		if x.MayRun() {
			text += "; nobody knows what it runs now"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
	}
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

func vesselText(v audit.Vessel) string {
	if v.ID == "" {
		return "nobody's boat known"
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

func newAuditFleetCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "fleet",
		Short: "Vessels by devices: current, behind, unknown, withdrawn",
		Args:  exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				fleet, err := audit.OfFleet(interruptible(cmd), l, shop.Models, f)
				if err != nil {
					return err
				}
				s.answer(fleet, func(w io.Writer) { writeFleetRows(w, fleet) })
				return nil
			})
		},
	}
}

func writeFleetRows(w io.Writer, fleet audit.Fleet) {
	var counts []string
	for _, status := range []audit.Status{audit.StatusWithdrawn, audit.StatusDisputed, audit.StatusUnknown, audit.StatusBehind, audit.StatusUnlisted, audit.StatusCurrent} {
		if n := fleet.Counts[status]; n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, status))
		}
	}
	if len(counts) == 0 {
		counts = []string{"none"}
	}
	fmt.Fprintf(w, "%s; devices: %s.\n", counted(len(fleet.Vessels), "vessel"), strings.Join(counts, ", "))
	writeLeftOut(w, fleet.LeftOut)
	if len(fleet.Vessels) == 0 {
		return
	}
	fmt.Fprintln(w)
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "vessel\tdevice\truns\tnewest\tstate")
	for _, row := range fleet.Vessels {
		for _, d := range row.Devices {
			fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n", row.Vessel.ID, d.ID, visible.Visible(string(d.Version)), d.Newest, d.Status)
		}
	}
	_ = table.Flush() // a broken pipe ends the process by itself
}

func newAuditDueCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "due",
		Short: "What is to be done: updates, and what visits left open",
		Args:  exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				if err := s.learnFleet(interruptible(cmd), shop); err != nil {
					return err
				}
				due, err := audit.OfDue(interruptible(cmd), l, summaries(shop), f)
				if err != nil {
					return err
				}
				s.answer(due, func(w io.Writer) { writeDue(w, due) })
				return nil
			})
		},
	}
}

// summaries plan every vessel; one that can't be planned says why.
func summaries(shop *manifest.Shop) []audit.PlanSummary {
	var all []audit.PlanSummary
	for _, v := range order.Fleet(shop) {
		p := audit.PlanSummary{Vessel: v.Vessel, Name: v.Name, Berth: v.Berth, Steps: v.Steps, Minutes: v.Minutes, AtLeast: v.AtLeast}
		switch v.State {
		case order.Blocked:
			p.Conflict = v.Why
		case order.ToBeRead, order.NotPlanned:
			p.Unread = v.Why
		}
		all = append(all, p)
	}
	return all
}

func writeDue(w io.Writer, due audit.Due) {
	fmt.Fprintf(w, "%s with something to do.\n", counted(len(due.Vessels), "vessel"))
	for _, v := range due.Vessels {
		last := "no visit on record"
		if !v.Last.IsZero() {
			last = "last visit " + date(v.Last)
		}
		fmt.Fprintf(w, "\n%s\n", wrapped(vesselText(v.Vessel)+"; "+last, "  "))
		if v.Plan != nil {
			fmt.Fprintf(w, "  %s\n", wrapped(planText(*v.Plan), "    "))
		}
		for _, l := range v.Open {
			fmt.Fprintf(w, "  %s\n", wrapped("open: "+l.Entry.Tell(), "    "))
		}
	}
}

func planText(p audit.PlanSummary) string {
	switch {
	case p.Conflict != "":
		return "no safe order: " + p.Conflict
	case p.Unread != "":
		return "not planned yet: " + p.Unread
	}
	return fmt.Sprintf("%s planned, %s", counted(p.Steps, "step"), atLeast(p.Minutes, p.AtLeast))
}

func newAuditWithdrawnCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "withdrawn",
		Short: "Withdrawn releases, and who must be called",
		Args:  exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfWithdrawn(interruptible(cmd), l, shop.Models, f)
				if err != nil {
					return err
				}
				s.answer(u, func(w io.Writer) {
					fmt.Fprintf(w, "%s withdrawn; %s.\n", counted(len(u.Releases), "release"), toCall(u))
					for _, r := range u.Releases {
						fmt.Fprintln(w)
						writeRelease(w, r)
					}
				})
				return nil
			})
		},
	}
}

// toCall says how many boats have a withdrawn release, or may have it.
func toCall(u audit.WithdrawnUse) string {
	boats := map[string]bool{}
	for _, r := range u.Releases {
		for _, x := range r.Has {
			boats[x.Vessel.ID] = true
		}
		for _, x := range r.Had {
			if x.MayRun() {
				boats[x.Vessel.ID] = true
			}
		}
	}
	if len(boats) == 0 {
		return "no vessel has one"
	}
	return "call about " + counted(len(boats), "vessel")
}

func newAuditCardCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "card DIGEST|TARGET",
		Short: "Where a card was made and used, by its digest or itself",
		Args:  exactly(1, "a digest or a target"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return asked(interruptible(cmd), s, o, func(_ *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfCard(interruptible(cmd), l, targetInLedger(args[0]), f)
				if err != nil {
					return err
				}
				s.answer(u, func(w io.Writer) { writeCardUse(w, args[0], u) })
				return nil
			})
		},
	}
}

func writeCardUse(w io.Writer, asked string, u audit.CardUse) {
	fmt.Fprintf(w, "%s of %s in the ledger.\n", counted(len(u.Cards), "card"), visible.Visible(asked))
	for _, c := range u.Cards {
		fmt.Fprintf(w, "\nCard %s\n", c.Digest)
		for _, l := range slices.Concat(c.Prepared, c.Verified, c.Used) {
			text := fmt.Sprintf("%s  %s, by %s", clock(l.Entry.At), l.Entry.Tell(), l.Technician)
			fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
		}
	}
}

type exportOptions struct{ format, output string }

// The formats of audit export.
var exportFormats = []string{"csv", "json", "cyclonedx", "html"}

func newAuditExportCommand(s *session, o *auditOptions) *cobra.Command {
	var e exportOptions
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the ledger out: csv, json, cyclonedx or html",
		Args:  exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !slices.Contains(exportFormats, e.format) {
				return usage(fmt.Errorf("--format %s: expected %s", e.format, strings.Join(exportFormats, ", ")))
			}
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				return runExport(interruptible(cmd), s, e, shop, l, f)
			})
		},
	}
	cmd.Flags().StringVar(&e.format, "format", "csv", strings.Join(exportFormats, ", "))
	cmd.Flags().StringVarP(&e.output, "output", "o", "", "write to this file instead of standard output")
	return cmd
}

func runExport(ctx context.Context, s *session, e exportOptions, shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
	if e.output == "" {
		return exported(ctx, s.out, e.format, shop, l, f)
	}
	out := page{flag: "output", path: e.output, shop: shop}
	if err := out.check(); err != nil {
		return err
	}
	// The file is written beside and named when it is whole; it is never held
	// in memory, since a ledger may be large.
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := exported(ctx, w, e.format, shop, l, f)
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

func exported(ctx context.Context, w io.Writer, format string, shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
	about := export.About{Shop: shop.Name, Ledger: l.ID(), Made: time.Now().UTC().Truncate(time.Second)}
	events := func(give func(ledger.Event) error) error { return audit.Events(ctx, l, "", f, give) }
	switch format {
	case "csv":
		return export.CSV(w, events)
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
	if format == "cyclonedx" {
		return export.CycloneDX(w, about, fleet)
	}
	return export.HTML(w, about, fleet, func(vessel string) (audit.History, error) {
		return audit.OfVessel(ctx, l, vessel, time.Time{}, f)
	})
}
