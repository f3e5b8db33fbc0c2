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
	"cardwright/manifest/edit"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/record"
)

type surveyOptions struct {
	at      string
	answers string
	csv     bool
	network string
	write   bool
}

func newSurveyCommand(s *session) *cobra.Command {
	var o surveyOptions
	cmd := &cobra.Command{
		Use:   "survey VESSEL",
		Short: "Find out what is aboard, by a page, a table or the network",
		Long: `survey prints a page to walk the boat with: every device, with blanks for serial
and version. --csv prints the same as a table to fill in; --answers takes such a
table back and writes serials and versions into the vessel's file. Its columns
are device, serial, version, place, variant and, for a device that is new, model;
an empty cell changes nothing. What was read is noted in the ledger. Write versions as v3.10: many spreadsheets make
3.1 of 3.10.

--network reads a capture of the boat's network (NMEA 2000): candump's log or
screen, or CSV with a heading line (id, or pgn and source; data, or d0 to d7). It
shows what each device says of itself, what the vessel's file says, and where
they differ (exit code 3); --write takes it over. Devices say it when they are
switched on or asked: start the capture, then switch on the display. (Common
practice.) Models are known by on_network in the catalogue. Without VESSEL it
only shows what was seen.

Read the version off the device's own screen before you rely on it.`,
		Args: atMostOne("vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSurvey(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.answers, "answers", "", "table (CSV) of what was found")
	flags.StringVar(&o.at, "at", "", "when it was found: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	flags.BoolVar(&o.csv, "csv", false, "print the table to fill in")
	flags.StringVar(&o.network, "network", "", "capture of the boat's network")
	flags.BoolVar(&o.write, "write", false, "write what the network says into the vessel's file")
	return cmd
}

func runSurvey(ctx context.Context, s *session, o surveyOptions, args []string) error {
	switch {
	case o.answers != "" && (o.network != "" || o.csv):
		return usage(errors.New("one of --answers, --network and --csv at a time"))
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
	switch {
	case err != nil:
		return err
	case o.answers != "":
		return s.surveyAnswers(ctx, vessel, shop.Dir, o)
	case o.csv:
		return writeSurveyTable(s.out, vessel)
	case s.json:
		return usage(errors.New("the page is for people; for programs there is --csv"))
	}
	writeSurveyPage(s.text(), shop, vessel)
	return nil
}

// spareLines is how many blanks a page has for devices that nobody knew of.
const spareLines = 3

const blank = "______________________________"

// writeSurveyPage writes the page. All text on it is from the shop's own files,
// in which nothing hidden can stand.
func writeSurveyPage(w io.Writer, shop *manifest.Shop, v *manifest.Vessel) {
	fmt.Fprintf(w, "Survey of %s", v.Name)
	if v.Berth != "" {
		fmt.Fprintf(w, ", %s", v.Berth)
	}
	fmt.Fprintf(w, "\n%s\n\nDate %s  By %s\n\n", shop.Name, blank[:14], blank)
	fmt.Fprintln(w, wrapped("Alongside, with the devices switched on: read serial and version off each device itself. "+
		"A tick says that it was found as it stands here.", ""))
	for _, d := range v.Devices {
		writeSurveyDevice(w, shop.Model(d.Model), d)
	}
	fmt.Fprint(w, "\nAlso aboard\n")
	for range spareLines {
		fmt.Fprintf(w, "\n[ ] model    %s\n    place    %s\n    serial   %s\n    version  %s\n", blank, blank, blank, blank)
	}
	fmt.Fprintf(w, "\nBack in the shop, fill in the table that the first makes, for the second:\n  cardwright survey %s --csv > answers.csv\n  cardwright survey %s --answers answers.csv\n", v.ID, v.ID)
}

func writeSurveyDevice(w io.Writer, m *manifest.Model, d *manifest.Device) {
	fmt.Fprintf(w, "\n[ ] %s: %s\n", d.ID, wrapped(m.Maker+" "+m.Name, "    "))
	if d.Place != "" {
		fmt.Fprintf(w, "    place    %s\n", wrapped(d.Place, "             "))
	}
	fmt.Fprintf(w, "    serial   %-24s now %s\n", or(d.Serial, "not written down"), blank)
	fmt.Fprintf(w, "    version  %-24s now %s\n", d.Version, blank)
	if d.Variant != "" {
		fmt.Fprintf(w, "    variant  %s\n", d.Variant)
	}
	if m.VersionShown != "" {
		fmt.Fprintf(w, "             shown at: %s\n", wrapped(m.VersionShown, "             "))
	}
}

var answerColumns = []tables.Column{
	{Name: "device", Key: "Device.id", Must: true},
	{Name: "model", Key: "Device.model"},
	{Name: "place", Key: "Device.place"},
	{Name: "serial", Key: "Device.serial"},
	{Name: "version", Key: "Device.version"},
	{Name: "variant", Key: "Device.variant"},
	{Name: "version_was"},
	{Name: "note"},
}

// writeSurveyTable writes the table to fill in: what may have changed stands
// there, but for the version, which somebody has to read.
func writeSurveyTable(w io.Writer, v *manifest.Vessel) error {
	rows := make([][]string, len(v.Devices))
	for i, d := range v.Devices {
		rows[i] = []string{d.ID, d.Model, d.Place, d.Serial, "", tabled(d.Version), ""}
	}
	return tables.Write(w, []string{"device", "model", "place", "serial", "version", "version_was", "note"}, rows)
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

func (s *session) surveyAnswers(ctx context.Context, vessel *manifest.Vessel, dir string, o surveyOptions) error {
	path := o.answers
	at, err := o.moment(ctx, s)
	if err != nil {
		return err
	}
	table, err := readTable(path, answerColumns)
	if err != nil {
		return err
	}
	file, shop, vessel, err := openVessel(dir, vessel)
	if err != nil {
		return err
	}
	if err := mistakesIn(path, answerMistakes(shop, vessel, table)); err != nil {
		return err
	}
	changes := []change{}
	note := surveyNote{at: at, read: map[string]version.V{}, visit: surveyVisit(vessel.ID, at, o.at != "", table)}
	var fresh []newDevice
	for _, row := range table.Rows {
		if v, err := version.Parse(row.Get("version")); err == nil && vessel.Device(row.Get("device")) != nil {
			note.read[row.Get("device")] = v
		}
		d := vessel.Device(row.Get("device"))
		if d == nil {
			fresh = append(fresh, newDevice{
				id: row.Get("device"), model: row.Get("model"), serial: row.Get("serial"), place: row.Get("place"),
				version: row.Get("version"), variant: row.Get("variant"),
			})
			continue
		}
		for _, c := range changesIn(d, row) {
			if err := setDevice(file, vessel, d, c); err != nil {
				return err
			}
			changes = append(changes, c)
		}
	}
	more, err := addDevices(file, shop, vessel, fresh)
	if err != nil {
		return err
	}
	return s.saveSurvey(ctx, shop, vessel, file, append(changes, more...), note)
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

// surveyVisit names a survey by what was found: noted again without a date, or
// for the same one, it is the same.
func surveyVisit(vessel string, at time.Time, dated bool, table *tables.Table) string {
	text := "survey of " + vessel + "\n"
	for _, row := range table.Rows {
		for _, c := range answerColumns {
			text += row.Get(c.Name) + "\x00"
		}
		text += "\n"
	}
	if dated {
		text += at.Format(time.RFC3339)
	}
	return record.VisitOf([]byte(text))
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

// answerMistakes are devices that aren't aboard, and those that stand there
// twice.
func answerMistakes(shop *manifest.Shop, vessel *manifest.Vessel, table *tables.Table) (ms manifest.Mistakes) {
	var aboard []string
	for _, d := range vessel.Devices {
		aboard = append(aboard, d.ID)
	}
	seen := map[string]bool{}
	for _, row := range table.Rows {
		id, model := row.Get("device"), row.Get("model")
		d := vessel.Device(id)
		m := manifest.Mistake{At: row.At("device"), Found: fmt.Sprintf("%q", id)}
		switch {
		case seen[id]:
			m.What, m.Expected = "device given twice", "each device once"
		case d == nil && model == "":
			m.What, m.Expected, m.Hint = "no such device", "one of "+strings.Join(aboard, ", ")+"; or a model, for a device that is new", manifest.Nearest(id, aboard)
		case d == nil && shop.Model(model) == nil, d != nil && model != "" && model != d.Model:
			m = manifest.Mistake{At: row.At("model"), What: "another model", Found: fmt.Sprintf("%q", model), Expected: "a model of the catalogue", Hint: manifest.Nearest(model, modelIDs(shop))}
			if d != nil {
				m.Expected, m.Hint = d.Model+", as in the vessel's file", "change the vessel's file by hand where the device was exchanged"
			}
		}
		seen[id] = true
		if m.What != "" {
			ms = append(ms, m)
		}
	}
	return ms
}

// changesIn are the changes that one line of answers makes.
func changesIn(d *manifest.Device, row tables.Row) (changes []change) {
	is := row.Get("version")
	if v, err := version.Parse(is); err == nil {
		is = string(v)
	}
	for _, c := range []change{
		{d.ID, "serial", d.Serial, row.Get("serial")},
		{d.ID, "place", d.Place, row.Get("place")},
		{d.ID, "version", string(d.Version), is},
		{d.ID, "variant", d.Variant, row.Get("variant")},
	} {
		if c.Is != "" && c.Is != c.Was {
			changes = append(changes, c)
		}
	}
	return changes
}

// keyOrder is where a key of a device is put that isn't there.
var keyOrder = map[string][]string{
	"serial":  {"id", "model"},
	"place":   {"id", "model", "serial"},
	"version": {"id", "model", "serial", "place"},
	"variant": {"id", "model", "serial", "place", "version"},
}

func setDevice(file *edit.File, vessel *manifest.Vessel, d *manifest.Device, c change) error {
	for i, have := range vessel.Devices {
		if have == d {
			return file.Set(edit.Way{"devices", i, c.Key}, c.Is, keyOrder[c.Key]...)
		}
	}
	return fmt.Errorf("changing %s: it has no device %s", file.Name(), d.ID)
}

// addDevices puts devices that are new behind those of the file.
func addDevices(file *edit.File, shop *manifest.Shop, vessel *manifest.Vessel, fresh []newDevice) (changes []change, err error) {
	if len(fresh) == 0 {
		return nil, nil
	}
	if err := knownModels(shop, fresh); err != nil {
		return nil, err
	}
	all := make([]newDevice, 0, len(vessel.Devices)+len(fresh))
	for _, d := range vessel.Devices {
		all = append(all, newDevice{id: d.ID, model: d.Model, through: d.Through})
	}
	all = append(all, fresh...)
	nameDevices(shop, all)
	for _, d := range all[len(vessel.Devices):] {
		if err := file.Insert(edit.Way{"devices"}, file.Len("devices"), d.entry(shop, all)); err != nil {
			return nil, err
		}
		changes = append(changes, change{Device: d.id, Is: strings.TrimSpace(d.model + " " + d.version)})
	}
	return changes, nil
}

// saveSurvey notes in the ledger what was read, writes the vessel's file, and says
// what changed in it.
func (s *session) saveSurvey(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel, file *edit.File, changes []change, note surveyNote) error {
	answer := surveyed{Format: 1, Vessel: vessel.ID, Changes: changes}
	will, err := edit.Check(shop.Dir, file)
	if err != nil {
		return fmt.Errorf("nothing was written, for the shop would not load: %w", err)
	}
	for _, c := range changes {
		switch {
		case c.Key == "":
			note.fresh = append(note.fresh, c.Device)
		case c.Key != "version" && !slices.Contains(note.other, c.Device):
			note.other = append(note.other, c.Device)
		}
	}
	if answer.Noted, err = s.noteSurvey(ctx, will, will.Vessel(vessel.ID), note); err != nil {
		return err
	}
	if len(changes) > 0 {
		if err := edit.Save(shop.Dir, file); err != nil {
			return err
		}
		answer.File = file.Name()
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
