package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/tables"
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
		Long: `package list finds package files by name and size, and says when each was last
read whole on this computer. It reads none of them: package check does.`,
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
	s.readings(shop).Tell(inv)
	switch {
	case s.json:
		s.writeJSON(inventory{1, inv.Files, inv.Unplanned, nil})
	case o.csv:
		return tables.Write(s.out, listColumns, listRows(inv.Files))
	default:
		writeList(s.text(), shop, inv)
	}
	return nil
}

// readings is when the shop's packages were last read on this computer.
func (s *session) readings(shop *manifest.Shop) *intake.Readings {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = "" // nothing is kept, then
	}
	return intake.ReadingsOf(shop, cache, time.Now())
}

// readPackages reads package files again, and keeps when that was. What can't be
// kept is told, and changes no answer.
func (s *session) readPackages(ctx context.Context, shop *manifest.Shop, inv intake.Inventory) error {
	began := time.Now()
	bar := s.bar("reading packages", inv.Bytes())
	err := intake.Check(ctx, inv, bar.add)
	bar.end()
	if err != nil {
		return fmt.Errorf("checking packages: %w", err)
	}
	r := s.readings(shop)
	r.Note(inv, began)
	if err := r.Save(shop); err != nil {
		s.complain(err.Error())
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
	} else {
		fmt.Fprintln(w, "Found by name and size; nothing was read. To read them: cardwright package check")
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
	if read := lastRead(c); read != "" {
		needed += "; " + read
	}
	fmt.Fprintln(w, wrappedAfter("      "+shortTrust[c.Trust]+"; ", needed, "      "))
}

// lastRead says when a package file that is there was last read; "" of others.
func lastRead(c *intake.Checked) string {
	day := c.LastRead.Local().Format(time.DateOnly)
	switch {
	case c.State == intake.Whole:
		return "read whole just now"
	case c.State != intake.Present && c.State != intake.Unused:
		return ""
	case c.LastRead.IsZero():
		return "not read yet on this computer"
	case c.LastWrong && !c.Changed:
		return "not as the catalogue says when it was read on " + day
	case c.Changed:
		return "changed since it was read on " + day
	}
	return "last read whole on " + day
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
	if err := s.readPackages(ctx, shop, inv); err != nil {
		return err
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

type fetchOptions struct{ csv, quick bool }

func newFetchListCommand(s *session) *cobra.Command {
	var o fetchOptions
	cmd := &cobra.Command{
		Use:   "fetch-list [VESSEL…]",
		Short: "Print what to download before a trip, and for which boats",
		Long: `fetch-list reads the packages that the plans of these vessels (default: of all)
need, and names those that are not in the package folder or not as the catalogue
says: their sizes, what they have to be, where they were got last time and where
the maker publishes them, to print and tick off.

With --quick packages are looked for by name and size, and not read: what is not
read is not proven, and the exit code is 4 where nothing has to be downloaded.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runFetchList(interruptible(cmd), s, o, args)
		},
	}
	cmd.Flags().BoolVar(&o.csv, "csv", false, "as a table for a spreadsheet")
	cmd.Flags().BoolVar(&o.quick, "quick", false, "look for packages without reading them")
	return cmd
}

// fetching is the answer of fetch-list in JSON.
type fetching struct {
	Format    int                `json:"format"`
	Files     []*intake.Checked  `json:"files"`
	Bytes     int64              `json:"bytes"`
	Unplanned []intake.Unplanned `json:"unplanned"`
	Read      int                `json:"read"`   // packages that were read whole, and are right
	Unread    []*intake.Checked  `json:"unread"` // packages that are there by name and size
}

func runFetchList(ctx context.Context, s *session, o fetchOptions, ids []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	if err := s.learnFleet(ctx, shop); err != nil {
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
	inv = inv.Needed()
	if o.quick {
		s.readings(shop).Tell(inv)
	} else if err := s.readPackages(ctx, shop, inv); err != nil {
		return err
	}
	answer := fetching{Format: 1, Files: []*intake.Checked{}, Unplanned: inv.Unplanned, Unread: []*intake.Checked{}}
	for _, c := range inv.Files {
		switch c.State {
		case intake.Whole:
			answer.Read++
		case intake.Present:
			answer.Unread = append(answer.Unread, c)
		default:
			answer.Files = append(answer.Files, c)
			answer.Bytes += c.Size
		}
	}
	switch {
	case s.json:
		s.writeJSON(answer)
	case o.csv:
		if err := tables.Write(s.out, fetchColumns, fetchRows(answer.Files)); err != nil {
			return err
		}
	default:
		writeFetchList(s.text(), shop, answer)
	}
	if len(answer.Files) == 0 && len(answer.Unread) > 0 {
		return &answered{exitUnchecked}
	}
	return nil
}

// fetchColumns are those of a list, and the maker's address.
var fetchColumns = append(slices.Clone(listColumns), "downloads")

func fetchRows(files []*intake.Checked) [][]string {
	rows := listRows(files)
	for i, c := range files {
		rows[i] = append(rows[i], c.Downloads)
	}
	return rows
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
	case len(f.Files) == 0 && len(f.Unread) > 0:
		fmt.Fprintf(w, "? UNCHECKED: nothing to download by name and size; %s not read.\n", was(len(f.Unread), "package"))
	case len(f.Files) == 0 && len(f.Unplanned) > 0 && f.Read == 0:
		fmt.Fprintln(w, "Nothing to download, as far as is known.")
	case len(f.Files) == 0 && len(f.Unplanned) > 0:
		fmt.Fprintf(w, "Nothing to download, as far as is known; %s read just now.\n", was(f.Read, "package"))
	case len(f.Files) == 0 && f.Read == 0:
		fmt.Fprintln(w, "Nothing to download: no package is needed.")
	case len(f.Files) == 0:
		fmt.Fprintf(w, "Nothing to download: every package that is needed is there; %s read just now.\n", was(f.Read, "package"))
	default:
		fmt.Fprintf(w, "To download: %s, %s.\n", counted(len(f.Files), "file"), media.Bytes(f.Bytes))
	}
	for _, c := range f.Files {
		m := shop.Model(c.Model)
		fmt.Fprintf(w, "\n[ ] %s %s %s: %s\n", visible.Visible(m.Maker), visible.Visible(m.Name), strings.TrimSpace(string(c.Version)+" "+c.Variant), visible.Visible(c.Name))
		writeLabelled(w, "size", media.Bytes(c.Size))
		writeLabelled(w, "SHA-256", c.SHA256)
		writeLabelled(w, "last got", lastGot(c))
		writeLabelled(w, "maker's", c.Downloads)
		writeLabelled(w, "for", names(shop, c.NeededBy))
		if c.State != intake.Missing {
			writeLabelled(w, "there", or(c.Found, string(c.State))+": "+c.Advice)
		}
	}
	for i, c := range f.Unread {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintln(w, wrappedAfter("Not read: ", c.Path+": "+lastRead(c), "    "))
	}
	for _, u := range f.Unplanned {
		fmt.Fprintf(w, "\n%s\n", wrappedAfter(notKnown(u, ", so perhaps more"), u.Why, "    "))
	}
}

// was is a count with its noun and its verb: 1 package was, 2 packages were.
func was(n int, noun string) string {
	if n == 1 {
		return counted(n, noun) + " was"
	}
	return counted(n, noun) + " were"
}

// lastGot says where a package was got last time, and when, as far as that was
// written down.
func lastGot(c *intake.Checked) string {
	from := c.From
	if from == intake.FromMaker {
		from = "the maker"
	}
	switch {
	case from != "" && c.Added != "":
		return from + ", " + c.Added
	case c.Added != "":
		return "not written down where, " + c.Added
	}
	return from
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
