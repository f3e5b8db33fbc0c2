package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/tables"
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
		Long: `list finds package files by name and size, and says when each was last read in full on
this computer. It reads none of them; package check does.`,
		Example: `  cardwright package list
  cardwright package list fennick-plot-12`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPackageList(interruptible(cmd), s, o, args)
		},
	}
	cmd.Flags().BoolVar(&o.csv, "csv", false, "as a table for a spreadsheet")
	return cmd
}

func runPackageList(ctx context.Context, s *session, o listOptions, models []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	for _, id := range models {
		if shop.Model(id) == nil {
			return usage(fmt.Errorf("no model %q in the catalogue%s", id, tryIt(manifest.Nearest(id, shop.ModelIDs()))))
		}
	}
	if err := learnFleet(ctx, s, shop); err != nil {
		return err
	}
	defer tellWhereFilesDiffer(s, shop)
	inv, err := intake.List(shop, commandWords)
	if err != nil {
		return err
	}
	inv.Files = ofModels(inv.Files, models)
	readingsOf(shop).Tell(inv)
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
			c.Model, c.Version.InTable(), c.Variant, c.Name, fmt.Sprint(c.Size), string(c.SHA256), c.Trust, c.From,
			string(c.State), strings.Join(c.NeededBy, " "),
		}
	}
	return rows
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
		return "read in full just now"
	case c.State != intake.Present && c.State != intake.Unused:
		return ""
	case c.LastRead.IsZero():
		return "not read yet on this computer"
	case c.LastWrong && !c.Changed:
		return "not as the catalogue says when it was read on " + day
	case c.Changed:
		return "changed since it was read on " + day
	}
	return "last read in full on " + day
}
