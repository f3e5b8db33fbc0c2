package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/tables"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/verify/visible"
)

type fetchOptions struct{ csv, quick bool }

func newFetchListCommand(s *session) *cobra.Command {
	var o fetchOptions
	cmd := &cobra.Command{
		Use:   "fetch-list [VESSEL…]",
		Short: "Print what to download before a trip, and for which boats",
		Long: `fetch-list lists what to download for these vessels (default: for all), to print and
tick off: packages that their plans need and that are missing, or aren't what the
catalogue says. Each has its size, its digest, where it was got last time, and where
the maker publishes it. Packages that are there are read to be sure of them.

With --quick they are only looked for, by name and size. That proves nothing: where
nothing has to be downloaded the exit code is then 4.`,
		Example: `  cardwright package fetch-list kittiwake
  cardwright package fetch-list --csv > fetch.csv`,
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
	Read      int                `json:"read"`   // packages that were read in full, and are right
	Unread    []*intake.Checked  `json:"unread"` // packages that are there by name and size
}

func runFetchList(ctx context.Context, s *session, o fetchOptions, ids []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	if err := learnFleet(ctx, s, shop); err != nil {
		return err
	}
	defer tellWhereFilesDiffer(s, shop)
	vessels, err := vesselsNamed(shop, ids)
	if err != nil {
		return err
	}
	inv, err := intake.ListFor(shop, vessels, commandWords)
	if err != nil {
		return err
	}
	inv = inv.Needed()
	if o.quick {
		readingsOf(shop).Tell(inv)
	} else if err := readPackages(ctx, &s.terminal, shop, inv); err != nil {
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
		writeLabelled(w, "SHA-256", string(c.SHA256))
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

// notKnown begins the reason why not all that a vessel needs is known.
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
