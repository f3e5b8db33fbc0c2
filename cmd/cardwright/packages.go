package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/survey"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/verify/visible"
)

type listOptions struct{ csv bool }

func newPackageListCommand(s *session) *cobra.Command {
	var o listOptions
	cmd := &cobra.Command{
		Use:   "list [MODEL…]",
		Short: "List packages: sizes, trust, who needs them, what is missing",
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPackageList(interruptible(cmd), s, o, args)
		},
	}
	cmd.Flags().BoolVar(&o.csv, "csv", false, "as a table for a spreadsheet")
	return cmd
}

func runPackageList(_ context.Context, s *session, o listOptions, models []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	for _, id := range models {
		if shop.Model(id) == nil {
			return usage(fmt.Errorf("no model %q in the catalogue%s", id, tryIt(manifest.Nearest(id, modelIDs(shop)))))
		}
	}
	inv, err := intake.List(shop)
	if err != nil {
		return err
	}
	inv.Files = ofModels(inv.Files, models)
	switch {
	case s.json:
		s.writeJSON(inventory{1, inv.Files, inv.Unplanned, nil})
	case o.csv:
		return survey.WriteTable(s.out, listColumns, listRows(inv.Files))
	default:
		writeList(s.text(), shop, inv)
	}
	return nil
}

// inventory is the answer of package list and package check in JSON.
type inventory struct {
	Format    int                  `json:"format"`
	Files     []*intake.Checked    `json:"files"`
	Unplanned []intake.Unplanned   `json:"unplanned,omitempty"`
	Counts    map[intake.State]int `json:"counts,omitempty"`
}

func ofModels(all []*intake.Checked, models []string) []*intake.Checked {
	if len(models) == 0 {
		return all
	}
	of := []*intake.Checked{}
	for _, c := range all {
		for _, id := range models {
			if c.Model == id {
				of = append(of, c)
			}
		}
	}
	return of
}

var listColumns = []string{"model", "version", "variant", "file", "bytes", "sha256", "trust", "from", "state", "needed_by"}

func listRows(files []*intake.Checked) [][]string {
	rows := make([][]string, len(files))
	for i, c := range files {
		rows[i] = []string{
			c.Model, tabled(c.Version), c.Variant, c.Name, fmt.Sprint(c.Size), c.SHA256, c.Trust, c.From,
			string(c.State), strings.Join(c.NeededBy, " "),
		}
	}
	return rows
}

// tabled is a version as it stands in a table: with a v, since spreadsheets
// take 4.10 for a number and 3-1 for a day.
func tabled(v version.V) string {
	if v == "" || v == version.Unknown {
		return string(v)
	}
	return "v" + string(v)
}

// shortTrust fits a line of a list.
var shortTrust = map[string]string{
	manifest.TrustMaker: "maker's digest", manifest.TrustSecond: "second source", manifest.TrustOurs: "only ours", "": "trust not said",
}

func writeList(w io.Writer, shop *manifest.Shop, inv intake.Inventory) {
	for i, c := range inv.Files {
		if i == 0 || c.Model != inv.Files[i-1].Model { // an unknown file has none
			heading := "Not in the catalogue"
			if m := shop.Model(c.Model); m != nil {
				heading = m.Maker + " " + m.Name + " (" + c.Model + ")"
			}
			fmt.Fprintf(w, "%s\n", visible.Visible(heading))
		}
		writeListed(w, c)
	}
	if len(inv.Files) == 0 {
		fmt.Fprintln(w, "No package is in the catalogue.")
	}
	for _, u := range inv.Unplanned {
		fmt.Fprintln(w, wrappedAfter(notKnown(u, ""), u.Why, "    "))
	}
}

func writeListed(w io.Writer, c *intake.Checked) {
	state := ""
	if c.State != intake.Present && c.State != intake.Unused && c.State != intake.Unknown {
		state = "  " + strings.ToUpper(string(c.State))
	}
	name := c.Name
	if c.State == intake.Unknown {
		name = c.Path
	}
	head := strings.Join(strings.Fields(string(c.Version)+" "+c.Variant), " ")
	fmt.Fprintf(w, "  %s  %s, %s%s\n", visible.Visible(or(head, "?")), visible.Visible(name), media.Bytes(c.Size), state)
	if c.State == intake.Unknown {
		return
	}
	needed := "needed by no vessel"
	if len(c.NeededBy) > 0 {
		needed = "needed by " + strings.Join(c.NeededBy, ", ")
	}
	fmt.Fprintf(w, "      %s; %s\n", shortTrust[c.Trust], wrapped(needed, "      "))
}

func newPackageCheckCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read every package again and compare it with the catalogue",
		Long: `package check reads every file of the package folder, from the disk where the
system allows it, and says which differ from the catalogue, are missing, can't be
read, aren't known to it, or are of no use to any vessel any more. With any of
these the exit code is 3.`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runPackageCheck(interruptible(cmd), s)
		},
	}
	return cmd
}

func runPackageCheck(ctx context.Context, s *session) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	inv, err := intake.List(shop)
	if err != nil {
		return err
	}
	bar := s.bar("reading packages", inv.Bytes())
	err = intake.Check(ctx, inv, bar.add)
	bar.end()
	if err != nil {
		return fmt.Errorf("checking packages: %w", err)
	}
	counts := inv.Counts()
	if s.json {
		s.writeJSON(inventory{1, inv.Files, nil, counts})
	} else {
		writeChecked(s.text(), inv.Files, counts)
	}
	if counts[intake.Whole] < len(inv.Files) {
		return &answered{exitNo}
	}
	return nil
}

// worstFirst is the order in which states are told.
var worstFirst = []intake.State{intake.Unreadable, intake.Differs, intake.Missing, intake.Unknown, intake.Unused}

var stateMeans = map[intake.State]string{
	intake.Unreadable: "could not be read to the end",
	intake.Differs:    "is not what the catalogue says",
	intake.Missing:    "is not there",
	intake.Unknown:    "is not in the catalogue",
	intake.Unused:     "is whole, and of no use to any vessel any more",
}

func writeChecked(w io.Writer, files []*intake.Checked, counts map[intake.State]int) {
	if counts[intake.Whole] == len(files) {
		fmt.Fprintf(w, "✓ %s, all whole.\n", counted(len(files), "package file"))
	} else {
		fmt.Fprintf(w, "✗ Not as they should be: %d of %s.\n", len(files)-counts[intake.Whole], counted(len(files), "package file"))
	}
	for _, state := range worstFirst {
		for _, c := range files {
			if c.State == state {
				writeFault(w, c)
			}
		}
	}
	fmt.Fprintf(w, "\nwhole %d, differing %d, missing %d, unreadable %d, unknown %d, unused %d.\n", counts[intake.Whole],
		counts[intake.Differs], counts[intake.Missing], counts[intake.Unreadable], counts[intake.Unknown], counts[intake.Unused])
}

func writeFault(w io.Writer, c *intake.Checked) {
	fmt.Fprintf(w, "\n%s %s\n", c.State, stateMeans[c.State])
	fmt.Fprintf(w, "  %s\n", visible.Visible(c.Path))
	if c.SHA256 != "" {
		expected := "SHA-256 " + c.SHA256 + ", " + media.Bytes(c.Size)
		if c.State != intake.Unused {
			writeLabelled(w, "expected", expected)
		}
	}
	writeLabelled(w, "found", c.Found)
	if len(c.NeededBy) > 0 {
		writeLabelled(w, "needed", "by "+strings.Join(c.NeededBy, ", "))
	}
	writeLabelled(w, "do", c.Advice)
}

func newFetchListCommand(s *session) *cobra.Command {
	var o listOptions
	cmd := &cobra.Command{
		Use:   "fetch-list [VESSEL…]",
		Short: "Print what to download before a trip, and for which boats",
		Long: `fetch-list names the packages that the plans of these vessels (default: of all)
need and that are not in the package folder, with their sizes and what they have
to be, to print and tick off.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runFetchList(interruptible(cmd), s, o, args)
		},
	}
	cmd.Flags().BoolVar(&o.csv, "csv", false, "as a table for a spreadsheet")
	return cmd
}

// fetching is the answer of fetch-list in JSON.
type fetching struct {
	Format    int                `json:"format"`
	Files     []*intake.Checked  `json:"files"`
	Bytes     int64              `json:"bytes"`
	Unplanned []intake.Unplanned `json:"unplanned"`
}

func runFetchList(_ context.Context, s *session, o listOptions, ids []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	vessels, err := vesselsNamed(shop, ids)
	if err != nil {
		return err
	}
	inv, err := intake.ListFor(shop, vessels)
	if err != nil {
		return err
	}
	answer := fetching{Format: 1, Files: []*intake.Checked{}, Unplanned: inv.Unplanned}
	for _, c := range inv.Files {
		if len(c.NeededBy) > 0 && c.State != intake.Present {
			answer.Files = append(answer.Files, c)
			answer.Bytes += c.Size
		}
	}
	switch {
	case s.json:
		s.writeJSON(answer)
	case o.csv:
		return survey.WriteTable(s.out, listColumns, listRows(answer.Files))
	default:
		writeFetchList(s.text(), shop, answer)
	}
	return nil
}

// vesselsNamed are the vessels with these ids, or all.
func vesselsNamed(shop *manifest.Shop, ids []string) ([]*manifest.Vessel, error) {
	if len(ids) == 0 {
		return shop.Vessels, nil
	}
	var all []*manifest.Vessel
	for _, id := range ids {
		v := shop.Vessel(id)
		if v == nil {
			return nil, usage(fmt.Errorf("no vessel %q in %s; there are: %s", id, shop.Dir, vesselIDs(shop)))
		}
		all = append(all, v)
	}
	return all, nil
}

func writeFetchList(w io.Writer, shop *manifest.Shop, f fetching) {
	switch {
	case len(f.Files) == 0 && len(f.Unplanned) > 0:
		fmt.Fprintln(w, "Nothing to download, as far as is known.")
	case len(f.Files) == 0:
		fmt.Fprintln(w, "Nothing to download: every package that is needed is there.")
	default:
		fmt.Fprintf(w, "To download: %s, %s.\n", counted(len(f.Files), "file"), media.Bytes(f.Bytes))
	}
	for _, c := range f.Files {
		m := shop.Model(c.Model)
		fmt.Fprintf(w, "\n[ ] %s %s %s: %s\n", visible.Visible(m.Maker), visible.Visible(m.Name), strings.TrimSpace(string(c.Version)+" "+c.Variant), visible.Visible(c.Name))
		writeLabelled(w, "size", media.Bytes(c.Size))
		writeLabelled(w, "SHA-256", c.SHA256)
		writeLabelled(w, "from", c.From)
		writeLabelled(w, "for", names(shop, c.NeededBy))
		if c.State != intake.Missing {
			writeLabelled(w, "there", or(c.Found, string(c.State))+": "+c.Advice)
		}
	}
	for _, u := range f.Unplanned {
		fmt.Fprintf(w, "\n%s\n", wrappedAfter(notKnown(u, ", so perhaps more"), u.Why, "    "))
	}
}

// notKnown stands before the reason why not all that a vessel needs is known.
func notKnown(u intake.Unplanned, so string) string {
	if u.NoFile {
		return "No file" + so + ": " + u.Vessel + ": "
	}
	return "Not planned" + so + ": " + u.Vessel + ": "
}

// names are vessels by name.
func names(shop *manifest.Shop, ids []string) string {
	var all []string
	for _, id := range ids {
		all = append(all, shop.Vessel(id).Name)
	}
	return strings.Join(all, ", ")
}
