package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/survey"
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
		Long: `survey prints a page to walk the boat with: every device, with blanks for serial and
version. It is text, PDF, or HTML to fill in on a phone without a network
(-o survey.html). --csv prints the same as a table to fill in.

--answers takes back the file that the page on the phone saves, or the table, and
writes serials and versions into the vessel's file. A file of another boat is refused.
The table's columns are vessel, device, serial, version, place, variant and, for a
device that is new, model. An empty cell changes nothing. Write versions as v3.10:
many spreadsheets make 3.1 of 3.10. What was read is noted in the ledger.

--network reads a capture of the boat's network (NMEA 2000): candump's log or screen,
or CSV with a heading line (id, or pgn and source; data, or d0 to d7). It shows
what each device announces next to what the vessel's file says; where they differ the
exit code is 3. --write takes it over. Devices say who they are when they are switched
on or asked: start the capture, then switch on the display (common practice). Models
are known by on_network in the catalogue. Without VESSEL it only shows what was seen.

Read the version off the device's own screen before you rely on it.`,
		Example: `  cardwright survey kittiwake -o survey.html
  cardwright survey kittiwake --answers kittiwake-survey.json
  cardwright survey kittiwake --network capture.log --write`,
		Args: atMostOne("vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSurvey(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	o.form.addFlags(cmd)
	flags.StringVarP(&o.output, "output", "o", "", "write the page to this `FILE` instead of standard output")
	flags.StringVar(&o.technician, "technician", "", "`WHO` walks the boat (default: a blank to write the name in)")
	flags.StringVar(&o.answers, "answers", "", "what was found: `FILE` that the page saved (JSON), or the table (CSV)")
	flags.StringVar(&o.at, "at", "", "`WHEN` it was found: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	flags.BoolVar(&o.csv, "csv", false, "print the table to fill in")
	flags.StringVar(&o.network, "network", "", "`CAPTURE` of the boat's network")
	flags.BoolVar(&o.byHand, "by-hand", false, "the vessel's file was changed by hand and is right: note that, too")
	flags.BoolVar(&o.write, "write", false, "write what the network says into the vessel's file")
	return cmd
}

// surveying is one run of survey.
type surveying struct {
	*session
	options surveyOptions
	shop    *manifest.Shop   // as loaded last
	vessel  *manifest.Vessel // nil where none was named
}

func runSurvey(ctx context.Context, s *session, o surveyOptions, args []string) (err error) {
	v := &surveying{session: s, options: o}
	switch {
	case o.answers != "" && (o.network != "" || o.csv):
		return usage(errors.New("one of --answers, --network and --csv at a time"))
	case o.byHand && o.answers == "" && !o.write:
		return usage(errors.New("--by-hand goes with the findings of a survey: give --answers TABLE, or record VESSEL --by-hand"))
	case o.write && o.network == "":
		return usage(errors.New("--write needs --network CAPTURE"))
	case o.network != "" && len(args) == 0 && o.write:
		return usage(errors.New("name the vessel whose file is to be written"))
	case o.network != "" && len(args) == 0:
		return v.network(ctx, "")
	case len(args) == 0:
		return usage(errors.New("name the vessel"))
	case o.network != "":
		return v.network(ctx, args[0])
	}
	if v.shop, v.vessel, err = s.vessel(args[0]); err != nil {
		return err
	}
	if err := v.byHand(ctx); err != nil {
		return err
	}
	switch {
	case o.answers != "":
		return v.answers(ctx)
	case o.csv:
		return writeSurveyTable(s.out, v.vessel)
	}
	return v.page()
}

// byHand offers to have noted what was changed by hand in the vessel's file,
// before anything that was found is.
func (v *surveying) byHand(ctx context.Context) error {
	if v.known[v.vessel.ID].FileByHand() == nil {
		return nil
	}
	key, err := keyOptions{}.signingIfKnown(v.session, "what was changed by hand is not noted in the ledger")
	if err != nil {
		return err
	}
	if v.options.answers == "" && !v.options.write { // nothing is noted
		key = nil
	}
	_, err = offerByHand(ctx, v.session, v.shop, v.vessel, key, v.options.byHand)
	return err
}

// surveyed is the answer of survey --answers and --write in JSON.
type surveyed struct {
	Format  int             `json:"format"`
	Vessel  string          `json:"vessel"`
	Changes []survey.Change `json:"changes"`
	File    string          `json:"file"`  // "" where nothing was written
	Noted   int             `json:"noted"` // events in the ledger
	Notes   []string        `json:"notes,omitempty"`
}

// moment is when the survey was made.
func (v *surveying) moment(ctx context.Context) (time.Time, error) {
	if v.options.at == "" {
		return time.Now().UTC().Truncate(time.Second), nil
	}
	if err := v.sureMoment(ctx, "--at", &v.options.at); err != nil {
		return time.Time{}, err
	}
	return pastMoment(v.options.at)
}

// reopen opens the vessel's file, and loads shop and vessel with it: reading what
// goes there may have taken long.
func (v *surveying) reopen() (file *edit.File, err error) {
	file, v.shop, v.vessel, err = edit.OpenVessel(v.shop.Dir, v.vessel)
	return file, err
}

// save notes in the ledger what was read, writes the vessel's file, and says
// what changed in it.
func (v *surveying) save(ctx context.Context, file *edit.File, found record.Survey) error {
	if err := knownModels(v.shop, found.Fresh); err != nil {
		return err
	}
	var notes []string
	for _, d := range found.LeaveLater(v.known[v.vessel.ID]) {
		notes = append(notes, laterText(d.ID, d.Version, d.Since))
	}
	if err := found.Write(file, v.shop, v.vessel); err != nil {
		return err
	}
	changes := found.Changes
	answer := surveyed{Format: 1, Vessel: v.vessel.ID, Changes: append([]survey.Change{}, changes...), Notes: notes}
	will, err := edit.Check(v.shop.Dir, file)
	if err != nil {
		return fmt.Errorf("nothing was written, since the shop would not load with it: %w", err)
	}
	if answer.Noted, err = v.note(ctx, will, will.Vessel(v.vessel.ID), found); err != nil {
		return err
	}
	if len(changes) > 0 {
		if err := edit.Save(v.shop.Dir, file); err != nil {
			return err
		}
		answer.File = file.Name()
		if err := record.KeepWritten(v.shop, will.Vessel(v.vessel.ID), record.WrittenBy(changes, will.Vessel(v.vessel.ID))); err != nil {
			return err
		}
	}
	v.answer(answer, func(w io.Writer) { writeSurveyed(w, v.vessel, answer) })
	return nil
}

// writeSurveyed says what a survey changed in the vessel's file, and what was noted.
func writeSurveyed(w io.Writer, vessel *manifest.Vessel, answer surveyed) {
	if len(answer.Changes) == 0 {
		fmt.Fprintf(w, "%s: nothing to change, as far as can be seen.\n", vessel.Name)
	} else {
		fmt.Fprintf(w, "✓ %s: %s written to %s\n", vessel.Name, counted(len(answer.Changes), "change"), answer.File)
	}
	for _, c := range answer.Changes {
		if c.Key == "" {
			fmt.Fprintf(w, "  %s: new, %s\n", c.Device, c.Is)
			continue
		}
		fmt.Fprintf(w, "  %s: %s %s, was %s\n", c.Device, c.Key, c.Is, or(c.Was, "not written down"))
	}
	if answer.Noted > 0 {
		fmt.Fprintf(w, "%s noted in the ledger.\n", counted(answer.Noted, "event"))
	}
	for _, n := range answer.Notes {
		fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
	}
	if len(answer.Changes) > 0 {
		fmt.Fprintf(w, "Next: cardwright plan %s\n", vessel.ID)
	}
}
