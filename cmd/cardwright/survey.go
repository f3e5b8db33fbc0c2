package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
)

type surveyOptions struct {
	form       formOptions
	output     string
	technician string
	at         string
	answers    string
	csv        bool
	network    string
	write      bool
	byHand     bool
}

func newSurveyCommand(s *session) *cobra.Command {
	var o surveyOptions
	cmd := &cobra.Command{
		Use:   "survey VESSEL",
		Short: "Find out what is aboard, by a page, a table or the network",
		Long: `survey prints a page to walk the boat with: every device, with blanks for serial
and version; as text, as PDF, or as HTML to fill in on a phone, without a network
(-o survey.html). --csv prints the same as a table to fill in.

--answers takes back the file that the page on a phone saves, or such a table, and
writes serials and versions into the vessel's file; one of another boat is refused.
The table's columns are vessel, device, serial, version, place, variant and, for a
device that is new, model; an empty cell changes nothing. Write versions as v3.10:
many spreadsheets make 3.1 of 3.10. What was read is noted in the ledger.

--network reads a capture of the boat's network (NMEA 2000): candump's log or
screen, or CSV with a heading line (id, or pgn and source; data, or d0 to d7). It
shows what each device says of itself, what the vessel's file says, and where
they differ (exit code 3); --write takes it over. Devices say it when they are
switched on or asked: start the capture, then switch on the display. (Common
practice.) Models are known by on_network in the catalogue. Without VESSEL it
only shows what was seen.

Read the version off the device's own screen before you rely on it.`,
		Example: `  cardwright survey kittiwake -o survey.html
  cardwright survey kittiwake --answers kittiwake-survey.json`,
		Args: atMostOne("vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSurvey(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	o.form.addFlags(cmd)
	flags.StringVarP(&o.output, "output", "o", "", "write the page to this file instead of standard output")
	flags.StringVar(&o.technician, "technician", "", "who walks the boat (default: a blank to write the name in)")
	flags.StringVar(&o.answers, "answers", "", "what was found: the file that the page saved (JSON), or the table (CSV)")
	flags.StringVar(&o.at, "at", "", "when it was found: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	flags.BoolVar(&o.csv, "csv", false, "print the table to fill in")
	flags.StringVar(&o.network, "network", "", "capture of the boat's network")
	flags.BoolVar(&o.byHand, "by-hand", false, "what was changed by hand in the vessel's file is so aboard: note it, too")
	flags.BoolVar(&o.write, "write", false, "write what the network says into the vessel's file")
	return cmd
}

func runSurvey(ctx context.Context, s *session, o surveyOptions, args []string) error {
	switch {
	case o.answers != "" && (o.network != "" || o.csv):
		return usage(errors.New("one of --answers, --network and --csv at a time"))
	case o.byHand && o.answers == "" && !o.write:
		return usage(errors.New("--by-hand notes beside what was found: give --answers TABLE, or record VESSEL --by-hand"))
	case o.write && o.network == "":
		return usage(errors.New("--write needs --network CAPTURE"))
	case o.network != "" && len(args) == 0 && o.write:
		return usage(errors.New("name the vessel whose file is to be written"))
	case o.network != "" && len(args) == 0:
		return s.surveyNetwork(ctx, o, "")
	case len(args) == 0:
		return usage(errors.New("name the vessel"))
	case o.network != "":
		return s.surveyNetwork(ctx, o, args[0])
	}
	shop, vessel, err := s.vessel(args[0])
	if err != nil {
		return err
	}
	if err := s.surveyByHand(ctx, shop, vessel, o); err != nil {
		return err
	}
	switch {
	case o.answers != "":
		return s.surveyAnswers(ctx, shop, vessel, o)
	case o.csv:
		return writeSurveyTable(s.out, vessel)
	}
	return s.writeSurveyPage(shop, vessel, o)
}

// surveyByHand offers to have noted what was changed by hand in the vessel's file,
// before anything that was found is.
func (s *session) surveyByHand(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel, o surveyOptions) error {
	if s.known[vessel.ID].FileByHand() == nil {
		return nil
	}
	key, err := keyOptions{}.signingIfKnown(s, "what was changed by hand is not noted in the ledger")
	if err != nil {
		return err
	}
	if o.answers == "" && !o.write { // nothing is noted
		key = nil
	}
	_, err = s.offerByHand(ctx, shop, vessel, key, o.byHand)
	return err
}

// change is one value that a survey changes in a vessel's file.
type change struct {
	Device string `json:"device"`
	Key    string `json:"key"` // "": the device is new
	Was    string `json:"was"`
	Is     string `json:"is"`
}

// surveyed is the answer of survey --answers and --write in JSON.
type surveyed struct {
	Format  int      `json:"format"`
	Vessel  string   `json:"vessel"`
	Changes []change `json:"changes"`
	File    string   `json:"file"`  // "" where nothing was written
	Noted   int      `json:"noted"` // events in the ledger
}

// moment is when the survey was made.
func (o *surveyOptions) moment(ctx context.Context, s *session) (time.Time, error) {
	if o.at == "" {
		return time.Now().UTC().Truncate(time.Second), nil
	}
	if err := s.sureMoment(ctx, "--at", &o.at); err != nil {
		return time.Time{}, err
	}
	return pastMoment(o.at)
}

// openVessel opens a vessel's file, and loads shop and vessel with it: reading
// what goes there may have taken long.
func openVessel(dir string, v *manifest.Vessel) (*edit.File, *manifest.Shop, *manifest.Vessel, error) {
	file, shop, err := edit.OpenLoaded(dir, v.At(""))
	if err != nil {
		return nil, nil, nil, err
	}
	now := shop.Vessel(v.ID)
	if now == nil || edit.NameOf(now.At("")) != file.Name() {
		return nil, nil, nil, &edit.Changed{Path: file.Name()}
	}
	return file, shop, now, nil
}

// surveyWritten are the values that a survey writes.
func surveyWritten(vessel *manifest.Vessel, changes []change) known.Written {
	w := known.Written{}
	for _, c := range changes {
		switch d := vessel.Device(c.Device); {
		case d == nil:
		case c.Key == "":
			w[c.Device] = known.FileValues(d)
		case w[c.Device] == nil:
			w[c.Device] = map[string]string{c.Key: c.Is}
		default:
			w[c.Device][c.Key] = c.Is
		}
	}
	return w
}

// saveSurvey notes in the ledger what was read, writes the vessel's file, and says
// what changed in it.
func (s *session) saveSurvey(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel, file *edit.File, changes []change, found record.Survey) error {
	answer := surveyed{Format: 1, Vessel: vessel.ID, Changes: changes}
	will, err := edit.Check(shop.Dir, file)
	if err != nil {
		return fmt.Errorf("nothing was written, for the shop would not load: %w", err)
	}
	for _, c := range changes {
		switch {
		case c.Key == "":
			found.New = append(found.New, c.Device)
		case c.Key != "version" && !slices.Contains(found.Other, c.Device):
			found.Other = append(found.Other, c.Device)
		}
	}
	if answer.Noted, err = s.noteSurvey(ctx, will, will.Vessel(vessel.ID), found); err != nil {
		return err
	}
	if len(changes) > 0 {
		if err := edit.Save(shop.Dir, file); err != nil {
			return err
		}
		answer.File = file.Name()
		if err := record.KeepWritten(shop, will.Vessel(vessel.ID), surveyWritten(will.Vessel(vessel.ID), changes)); err != nil {
			return err
		}
	}
	if s.json {
		s.writeJSON(answer)
		return nil
	}
	if len(changes) == 0 {
		fmt.Fprintf(s.out, "%s: nothing to change, as far as it can be told.\n", vessel.Name)
		if n := tellNoted(answer.Noted); n != "" {
			fmt.Fprintln(s.out, n)
		}
		return nil
	}
	fmt.Fprintf(s.out, "✓ %s: %s written to %s\n", vessel.Name, counted(len(changes), "change"), file.Name())
	for _, c := range changes {
		if c.Key == "" {
			fmt.Fprintf(s.out, "  %s: new, %s\n", c.Device, c.Is)
			continue
		}
		fmt.Fprintf(s.out, "  %s: %s %s, was %s\n", c.Device, c.Key, c.Is, or(c.Was, "not written down"))
	}
	if n := tellNoted(answer.Noted); n != "" {
		fmt.Fprintln(s.out, n)
	}
	fmt.Fprintf(s.text(), "Next: cardwright plan %s\n", vessel.ID)
	return nil
}
