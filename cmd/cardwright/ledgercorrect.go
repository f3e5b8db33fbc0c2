package main

import (
	"context"
	"fmt"
	"io"
	"slices"
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
	instead  insteadOptions
}

// insteadOptions are what an event should have said.
type insteadOptions struct {
	at, result, before, after, note, value, where, device string
	minutes                                               int
}

func newLedgerCorrectCommand(s *session) *cobra.Command {
	var o correctOptions
	cmd := &cobra.Command{
		Use:   "correct EVENT --why TEXT",
		Short: "Correct an earlier event by a new one, or take it back",
		Long: `An event is never changed. correct adds one that says what is so instead; both
stay in the history, and the last correction of an event counts; what it leaves
out stays as the correction before had it. EVENT is the id that audit vessel
shows, or the first 8 digits of it or more.

  cardwright ledger correct 3f9a12c4 --why "misread" --after 1.8
  cardwright ledger correct 3f9a12c4 --why "it was another boat" --take-back`,
		Args: exactly(1, "the id of an event"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCorrect(interruptible(cmd), s, o, args[0], cmd.Flags().Changed("minutes"))
		},
	}
	o.key.addFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&o.why, "why", "", "why it is corrected")
	flags.BoolVar(&o.takeBack, "take-back", false, "it didn't happen: nothing stands instead")
	i := &o.instead
	flags.StringVar(&i.at, "at", "", "when it happened: 2026-03-02, or 2026-03-02 14:30")
	flags.StringVar(&i.result, "result", "", "of a step: done, failed, put off; of a check: passed, failed, not done")
	flags.StringVar(&i.before, "before", "", "the version that the device showed before the step")
	flags.StringVar(&i.after, "after", "", "and after; or the version of the --device that was taken on")
	flags.IntVar(&i.minutes, "minutes", 0, "how long the step took")
	flags.StringVar(&i.value, "value", "", "what a check read")
	flags.StringVar(&i.where, "where", "", "where settings were saved")
	flags.StringVar(&i.note, "note", "", "the note of a step, a check or settings; why a release was withdrawn")
	flags.StringVar(&i.device, "device", "", "which device of a vessel that was taken on")
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
		return usage(fmt.Errorf("say why with --why: it stands in the history beside the event"))
	}
	if err := s.sureMoment(ctx, "--at", &o.instead.at); err != nil {
		return err
	}
	of, last, err := s.eventOf(ctx, shop, digits)
	if err != nil {
		return err
	}
	entry, at := of.Statement.Entry, time.Now().UTC().Truncate(time.Second)
	if last != nil {
		at = after(at, last.Statement.Entry.At)
		if instead := last.Statement.Entry.Correction.Instead; instead != nil {
			entry = *instead
		}
	}
	c := ledger.Entry{
		At: at, Kind: ledger.Correction, Vessel: entry.Vessel, Berth: entry.Berth, Visit: entry.Visit,
		Correction: &ledger.Correcting{Of: of.ID.String(), Why: o.why},
	}
	instead := o.instead
	if !minutes {
		instead.minutes = -1
	}
	if c.Correction.Instead, err = correctedEntry(entry, instead, o.takeBack); err != nil {
		return usage(err)
	}
	return s.keepCorrection(ctx, shop, key, c)
}

// after is now, or where the clock that dated the correction before ran ahead
// the moment after that: of two corrections the later one counts.
func after(now, before time.Time) time.Time {
	if now.After(before) {
		return now
	}
	return before.Add(time.Second)
}

// eventOf finds the one event that some digits name, and the correction of it
// that counts so far; nil where there is none.
func (s *session) eventOf(ctx context.Context, shop *manifest.Shop, digits string) (of ledger.Event, last *ledger.Event, err error) {
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

// correctedEntry is the entry that stands instead; nil where it is taken back.
func correctedEntry(e ledger.Entry, o insteadOptions, takeBack bool) (*ledger.Entry, error) {
	said := o.given()
	switch {
	case takeBack && len(said) > 0:
		return nil, fmt.Errorf("--take-back leaves nothing that --%s could say", said[0])
	case takeBack:
		return nil, nil
	case len(said) == 0:
		return nil, fmt.Errorf("say what is so instead (--after, --result, …), or --take-back; the event says: %s", e.Tell())
	}
	if err := o.fits(e, said); err != nil {
		return nil, err
	}
	if err := o.set(&e); err != nil {
		return nil, err
	}
	return &e, e.Validate()
}

// given names what was said.
func (o insteadOptions) given() []string {
	var list []string
	for _, f := range []struct {
		name string
		set  bool
	}{
		{"at", o.at != ""},
		{"result", o.result != ""},
		{"before", o.before != ""},
		{"after", o.after != ""},
		{"minutes", o.minutes >= 0},
		{"value", o.value != ""},
		{"where", o.where != ""},
		{"note", o.note != ""},
		{"device", o.device != ""},
	} {
		if f.set {
			list = append(list, f.name)
		}
	}
	return list
}

// fits tells whether an event has what was said.
func (o insteadOptions) fits(e ledger.Entry, said []string) error {
	has := []string{"at"}
	switch {
	case e.Step != nil:
		has = append(has, "result", "before", "after", "minutes", "note")
	case e.Check != nil:
		has = append(has, "result", "value", "note")
	case e.Settings != nil:
		has = append(has, "where", "note")
	case e.TakenOn != nil:
		has = append(has, "device", "after")
	case e.Withdrawal != nil:
		has = append(has, "note")
	}
	for _, name := range said {
		if !slices.Contains(has, name) {
			return fmt.Errorf("an event %q has no --%s; it has --%s", e.Kind, name, strings.Join(has, ", --"))
		}
	}
	return nil
}

var correctedKinds = map[string]ledger.Kind{
	"step " + record.Done: ledger.StepDone, "step " + record.Failed: ledger.StepFailed, "step " + record.PutOff: ledger.StepPutOff,
	"check " + record.Passed: ledger.CheckPassed, "check " + record.Failed: ledger.CheckFailed, "check " + record.NotDone: ledger.CheckNotDone,
}

// set writes what was said into a copy of the event.
func (o insteadOptions) set(e *ledger.Entry) error {
	if o.at != "" {
		at, err := pastMoment(o.at)
		if err != nil {
			return err
		}
		e.At = at
	}
	if o.result != "" {
		what := map[bool]string{true: "step ", false: "check "}[e.Step != nil]
		kind, ok := correctedKinds[what+o.result]
		if !ok {
			return fmt.Errorf("--result %s: expected done, failed or put off of a step; passed, failed or not done of a check", o.result)
		}
		if e.Kind == ledger.StepDone && kind == ledger.StepFailed && o.after == "" {
			return fmt.Errorf("a step that failed may have left any version: say with --after which one the device showed then")
		}
		e.Kind = kind
	}
	switch {
	case e.Step != nil:
		return o.setStep(e)
	case e.Check != nil:
		return o.setCheck(e)
	case e.Settings != nil:
		settings := *e.Settings
		replace(&settings.Where, o.where)
		replace(&settings.Note, o.note)
		e.Settings = &settings
	case e.TakenOn != nil:
		return o.setTakenOn(e)
	case e.Withdrawal != nil:
		withdrawal := *e.Withdrawal
		replace(&withdrawal.Why, o.note)
		e.Withdrawal = &withdrawal
	}
	return nil
}

func replace(field *string, with string) {
	if with != "" {
		*field = with
	}
}

func (o insteadOptions) setCheck(e *ledger.Entry) error {
	check := *e.Check
	replace(&check.Value, o.value)
	replace(&check.Note, o.note)
	if e.Kind == ledger.CheckPassed && check.Check == ledger.VersionShown {
		v, err := version.Parse(check.Value)
		if err != nil {
			return fmt.Errorf("--value, the version that the device showed: %w", err)
		}
		check.Value = string(v)
	}
	e.Check = &check
	return nil
}

func (o insteadOptions) setStep(e *ledger.Entry) error {
	step := *e.Step
	replace(&step.Note, o.note)
	if o.minutes >= 0 {
		step.Minutes = o.minutes
	}
	for _, v := range []struct {
		flag, text string
		to         *version.V
	}{{"before", o.before, &step.Before}, {"after", o.after, &step.After}} {
		if v.text == "" {
			continue
		}
		parsed, err := version.Parse(v.text)
		if err != nil {
			return fmt.Errorf("--%s: %w", v.flag, err)
		}
		*v.to = parsed
	}
	if e.Kind == ledger.StepPutOff {
		step.After = ""
	}
	if e.Kind != ledger.StepDone || ledger.VersionKey(step.After) != ledger.VersionKey(e.Step.After) {
		step.Files, step.WayBack, step.Card = nil, "", "" // they were of what was said before
	}
	e.Step = &step
	return nil
}

func (o insteadOptions) setTakenOn(e *ledger.Entry) error {
	taken := *e.TakenOn
	taken.Devices = slices.Clone(taken.Devices)
	e.TakenOn = &taken
	if o.device == "" && o.after == "" {
		return nil
	}
	i := slices.IndexFunc(taken.Devices, func(f ledger.Fitted) bool { return f.Device.ID == o.device })
	if i < 0 || o.after == "" {
		return fmt.Errorf("name one of the vessel's devices with --device and its version with --after")
	}
	v, err := version.Parse(o.after)
	if err != nil {
		return fmt.Errorf("--after: %w", err)
	}
	taken.Devices[i].Version = v
	return nil
}

// keepCorrection notes a correction, and brings the vessel's file up to date
// where it said what the ledger said before.
func (s *session) keepCorrection(ctx context.Context, shop *manifest.Shop, key *keys.Key, c ledger.Entry) error {
	before, err := s.versionsNow(ctx, shop, c.Vessel)
	if err != nil {
		return err
	}
	if err := s.note(ctx, shop, key, c); err != nil {
		return err
	}
	after, err := s.versionsNow(ctx, shop, c.Vessel)
	if err != nil {
		return err
	}
	file, notes, err := followVersions(shop, shop.Vessel(c.Vessel), before, after)
	if err != nil {
		return fmt.Errorf("the ledger has it, but the vessel's file could not be brought up to date: %w", err)
	}
	if c.Vessel == "" {
		files, err := s.followWithdrawals(ctx, shop)
		if err != nil {
			return fmt.Errorf("the ledger has it, but the catalogue could not be brought up to date: %w", err)
		}
		file = strings.Join(files, ", ")
	}
	s.answer(struct {
		Format int          `json:"format"`
		Entry  ledger.Entry `json:"entry"`
		File   string       `json:"file"`
		Notes  []string     `json:"notes"`
	}{1, c, file, notes}, func(w io.Writer) {
		fmt.Fprintf(w, "%s\n", wrapped("Noted: "+c.Tell(), "  "))
		if file != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
		for _, n := range notes {
			fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
		}
	})
	return nil
}

// versionsNow are the versions of a vessel's devices as the ledger has them.
func (s *session) versionsNow(ctx context.Context, shop *manifest.Shop, vessel string) (map[string]version.V, error) {
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
	changed := map[string]version.V{}
	for _, d := range vessel.Devices {
		was, is := before[d.ID], after[d.ID]
		switch {
		case is == was || d.Version == is:
		case d.Version == was && ledger.VersionKey(is) != "":
			changed[d.ID] = is
		default:
			notes = append(notes, fmt.Sprintf("%s: its file says %s, the ledger now says %s: look which is right", d.ID, d.Version, orUnknown(is)))
		}
	}
	file, err := updateVessel(shop, vessel, changed)
	return file, notes, err
}

func orUnknown(v version.V) version.V {
	if v == "" {
		return version.Unknown
	}
	return v
}
