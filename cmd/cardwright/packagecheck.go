package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/verify/visible"
)

func newPackageCheckCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read every package again and compare it with the catalogue",
		Long: `check reads every file of the package folder, from the disk itself where the system
allows it. It lists the files that differ from the catalogue, are missing, can't be
read, are unknown to the catalogue, or that no vessel's model uses any more. With any
of these the exit code is 3.`,
		Example: `  cardwright package check`,
		Args:    exactly(0, "no arguments"),
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
	if err := learnFleet(ctx, s, shop); err != nil {
		return err
	}
	defer tellWhereFilesDiffer(s, shop)
	inv, err := intake.List(shop, commandWords)
	if err != nil {
		return err
	}
	if err := readPackages(ctx, &s.terminal, shop, inv); err != nil {
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

// readPackages reads package files again, and keeps when that was. A time that can't
// be kept is reported, and changes no answer.
func readPackages(ctx context.Context, t *terminal, shop *manifest.Shop, inv intake.Inventory) error {
	began := time.Now()
	bar := t.bar("reading packages", inv.Bytes())
	err := intake.Check(ctx, inv, bar.add)
	bar.end()
	if err != nil {
		return fmt.Errorf("checking packages: %w", err)
	}
	r := readingsOf(shop)
	r.Note(inv, began)
	if err := r.Save(shop); err != nil {
		t.complain(err.Error())
	}
	return nil
}

// readingsOf is when the shop's packages were last read on this computer.
func readingsOf(shop *manifest.Shop) *intake.Readings {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = "" // nothing is kept, then
	}
	return intake.ReadingsOf(shop, cache, time.Now())
}

// worstFirst is the order in which states are listed.
var worstFirst = []intake.State{intake.Unreadable, intake.Differs, intake.Missing, intake.Unknown, intake.Unused}

var stateMeans = map[intake.State]string{
	intake.Unreadable: "could not be read to the end",
	intake.Differs:    "is not what the catalogue says",
	intake.Missing:    "is not there",
	intake.Unknown:    "is not in the catalogue",
	intake.Unused:     "is intact, but no vessel needs it any more",
}

func writeChecked(w io.Writer, files []*intake.Checked, counts map[intake.State]int) {
	if counts[intake.Whole] == len(files) {
		fmt.Fprintf(w, "✓ %s, all intact.\n", counted(len(files), "package file"))
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
		expected := c.SHA256.Named() + ", " + media.Bytes(c.Size)
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
