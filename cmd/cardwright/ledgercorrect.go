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
	"cardwright/manifest/version"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

type correctOptions struct {
	key      keyOptions
	why      string
	takeBack bool
	at       string
	instead  record.Instead
}

func newLedgerCorrectCommand(s *session) *cobra.Command {
	var o correctOptions
	cmd := &cobra.Command{
		Use:   "correct EVENT --why TEXT",
		Short: "Correct an earlier event by a new one, or take it back",
		Long: `An event is never changed: correct adds one with what is right. Both stay in
the history. Of several corrections the last one counts; what it leaves out stays as
the one before had it. EVENT is the id that cardwright audit vessel shows, or at least
the first 8 digits of it.`,
		Example: `  cardwright ledger correct 3f9a12c4 --why "misread" --after 1.8
  cardwright ledger correct 3f9a12c4 --why "it was another boat" --take-back`,
		Args: exactly(1, "the id of an event"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCorrect(interruptible(cmd), s, o, args[0], cmd.Flags().Changed("minutes"))
		},
	}
	o.key.addFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&o.why, "why", "", "`WHY` it is corrected")
	flags.BoolVar(&o.takeBack, "take-back", false, "it didn't happen, and nothing replaces it")
	i := &o.instead
	flags.StringVar(&o.at, "at", "", "`WHEN` it happened: 2026-03-02, or 2026-03-02 14:30")
	flags.StringVar(&i.Result, "result", "", "the `RESULT`, of a step: done, failed, put off; of a check: passed, failed, not done")
	flags.StringVar(&i.Before, "before", "", "the `VERSION` that the device showed before the step")
	flags.StringVar(&i.After, "after", "", "the `VERSION` that the device showed after the step, or that of the --device of a vessel taken on")
	flags.IntVar(&i.Minutes, "minutes", 0, "how many `MINUTES` the step took")
	flags.StringVar(&i.Value, "value", "", "what a check read: `VALUE` with its unit")
	flags.StringVar(&i.Where, "where", "", "`WHERE` settings were saved")
	flags.StringVar(&i.Note, "note", "", "the note of a step, a check or settings, or why a release was withdrawn, as `TEXT`")
	flags.StringVar(&i.Device, "device", "", "which `DEVICE`, of a vessel that was taken on")
	return cmd
}

func runCorrect(ctx context.Context, s *session, o correctOptions, digits string, minutes bool) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	if o.why == "" {
		return usage(fmt.Errorf("say why with --why: the history shows it with the event"))
	}
	if err := s.sureMoment(ctx, "--at", &o.at); err != nil {
		return err
	}
	of, last, err := eventOf(ctx, shop, digits)
	if err != nil {
		return err
	}
	c := record.Correction{Of: of, Last: last, Why: o.why, TakeBack: o.takeBack, Instead: o.instead, Now: time.Now().UTC().Truncate(time.Second)}
	if o.at != "" {
		if c.Instead.At, err = pastMoment(o.at); err != nil {
			return err
		}
	}
	if !minutes {
		c.Instead.Minutes = record.AsItWas
	}
	entry, err := c.Entry()
	if err != nil {
		return usage(correctionWords(err, o, of.ID))
	}
	if says := of.Statement.Entry; o.takeBack && (says.DeviceChange != nil || says.VesselChange != nil) {
		return s.undoLife(ctx, shop, key, entry, of)
	}
	return keepCorrection(ctx, s, shop, key, entry)
}

// correctionWords says with the command's flags why a correction isn't accepted.
func correctionWords(err error, o correctOptions, of ledger.ID) error {
	e, ok := errors.AsType[*record.Unfit](err)
	if !ok {
		return err
	}
	switch e.Why {
	case record.TakenBack:
		return fmt.Errorf("event %s is taken back already, and nothing was noted now; where it happened after all, note it anew", of.Short())
	case record.BesideNothing:
		return fmt.Errorf("--take-back leaves nothing that --%s could say", e.Field)
	case record.NothingSaid:
		return fmt.Errorf("say what is right (--after, --result, …), or --take-back; the event says: %s", e.Event.Tell())
	case record.NotOfEvent:
		return fmt.Errorf("an event %q has no --%s; it has --%s", e.Event.Kind, e.Field, strings.Join(e.Has, ", --"))
	case record.NoResult:
		return fmt.Errorf("--result %s: expected done, failed or put off of a step; passed, failed or not done of a check", o.instead.Result)
	case record.AfterMissing:
		return fmt.Errorf("a step that failed may have left any version: say with --after which one the device showed then")
	case record.DeviceMissing:
		return fmt.Errorf("name one of the vessel's devices with --device and its version with --after")
	}
	if e.Field == "value" {
		return fmt.Errorf("--value, the version that the device showed: %w", e.Err)
	}
	return fmt.Errorf("--%s: %w", e.Field, e.Err)
}

// eventOf finds the one event that some digits name, and the correction of it
// that counts so far; nil where there is none.
func eventOf(ctx context.Context, shop *manifest.Shop, digits string) (of ledger.Event, last *ledger.Event, err error) {
	l, err := openLedger(ctx, shop)
	if err != nil {
		return of, nil, err
	}
	defer l.Close()
	if len(digits) < store.LeastDigits {
		return of, nil, usage(fmt.Errorf("event %s: expected %d digits of its id or more, as audit vessel shows them", digits, store.LeastDigits))
	}
	found, err := l.Find(ctx, digits)
	switch {
	case err != nil:
		return of, nil, err
	case len(found) == 0:
		return of, nil, fmt.Errorf("no event in the ledger begins with %s: audit vessel shows the ids", digits)
	case len(found) > 1:
		return of, nil, usage(fmt.Errorf("more than one event begins with %s: give more digits", digits))
	}
	if k := found[0].Statement.Entry.Correction; k != nil {
		return of, nil, usage(fmt.Errorf("event %s is a correction itself, and the last correction of an event counts: correct %s again", found[0].ID.Short(), k.Of[:12]))
	}
	correction, ok, err := l.Correction(ctx, found[0].ID)
	if ok {
		last = &correction
	}
	return found[0], last, err
}

// keepCorrection notes a correction, and brings the vessel's file up to date
// where it said what the ledger said before.
func keepCorrection(ctx context.Context, s *session, shop *manifest.Shop, key *keys.Key, c ledger.Entry) error {
	before, err := versionsNow(ctx, shop, c.Vessel)
	if err != nil {
		return err
	}
	if err := note(ctx, s, shop, key, c); err != nil {
		return err
	}
	after, err := versionsNow(ctx, shop, c.Vessel)
	if err != nil {
		return err
	}
	file, notes, err := followVersions(shop, shop.Vessel(c.Vessel), before, after)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the vessel's file could not be brought up to date: %w", err)
	}
	if c.Vessel == "" {
		files, err := followWithdrawals(ctx, shop)
		if err != nil {
			return fmt.Errorf("it is noted in the ledger, but the catalogue could not be brought up to date: %w", err)
		}
		file = strings.Join(files, ", ")
	}
	answerCorrection(&s.terminal, c, file, notes)
	return nil
}

func answerCorrection(t *terminal, c ledger.Entry, file string, notes []string) {
	t.answer(struct {
		Format int          `json:"format"`
		Entry  ledger.Entry `json:"entry"`
		File   string       `json:"file"`
		Notes  []string     `json:"notes"`
	}{1, c, file, append([]string{}, notes...)}, func(w io.Writer) {
		fmt.Fprintf(w, "%s\n", wrapped("Noted: "+c.Tell(), "  "))
		if file != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
		for _, n := range notes {
			fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
		}
	})
}

// versionsNow are the versions of a vessel's devices as the ledger has them.
func versionsNow(ctx context.Context, shop *manifest.Shop, vessel string) (map[string]version.V, error) {
	if vessel == "" {
		return nil, nil
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, vessel, time.Time{}, audit.Filter{})
	if err != nil {
		return nil, err
	}
	now := map[string]version.V{}
	for _, d := range h.Devices {
		now[d.ID] = d.Version
	}
	return now, nil
}

// followVersions writes into the vessel's file what the ledger says now, for
// the devices of which the file said what the ledger said before.
func followVersions(shop *manifest.Shop, vessel *manifest.Vessel, before, after map[string]version.V) (string, []string, error) {
	notes := []string{}
	if vessel == nil {
		return "", notes, nil
	}
	versions, look := record.Corrected(vessel, before, after)
	for _, c := range look {
		notes = append(notes, fmt.Sprintf("%s: its file says %s, the ledger now says %s: check which is right", c.Device, c.File, c.Ledger))
	}
	file, err := record.WriteVersions(shop, vessel, versions)
	return file, notes, err
}
