package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media/intake"
	"cardwright/media/readiness"
)

func newShopCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "shop", Short: "Check whether the shop is ready"}
	cmd.AddCommand(newShopCheckCommand(s))
	return cmd
}

type shopCheckOptions struct {
	olderThan int
	quick     bool
}

// usualAge is after how many days a catalogue file is called old.
const usualAge = 180

func newShopCheckCommand(s *session) *cobra.Command {
	var o shopCheckOptions
	cmd := &cobra.Command{
		Use:   "check [VESSEL…]",
		Short: "Check everything at once, and list what is left to do",
		Long: `check loads the shop's files, plans every vessel, reads the packages again, and lists
what is left to do, the most urgent first.

Name the vessels that you serve today (default: all). When one of them can't be served
the exit code is 3. With --quick packages are only looked for, by size. That proves
nothing: where nothing worse was found the exit code is then 4.`,
		Example: `  cardwright shop check
  cardwright shop check kittiwake --quick`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runShopCheck(interruptible(cmd), s, o, args)
		},
	}
	cmd.Flags().IntVar(&o.olderThan, "older-than", usualAge, "list catalogue files unchanged for this many `DAYS`")
	cmd.Flags().BoolVar(&o.quick, "quick", false, "look for packages without reading them")
	return cmd
}

func runShopCheck(ctx context.Context, s *session, o shopCheckOptions, ids []string) error {
	if o.olderThan < 0 || o.olderThan > 100*365 {
		return usage(fmt.Errorf("--older-than %d: expected a number of days", o.olderThan))
	}
	shop, err := s.shop()
	if err != nil {
		return err
	}
	today, err := vesselsNamed(shop, ids)
	if err != nil {
		return err
	}
	if err := learnFleet(ctx, s, shop); err != nil {
		return err
	}
	inv, err := intake.List(shop, commandWords)
	if err != nil {
		return err
	}
	if !o.quick {
		if err := readPackages(ctx, &s.terminal, shop, inv); err != nil {
			return err
		}
	}
	ready := readiness.Of(shop, today, inv, time.Now(), time.Duration(o.olderThan)*24*time.Hour, commandWords)
	ready.Tasks = append(ready.Tasks, openTasks(shop, s.known, ready.Today)...)
	ready.Tasks = append(ready.Tasks, leftInShop(shop)...)
	if s.json {
		s.writeJSON(struct {
			Format int `json:"format"`
			readiness.Readiness
		}{1, ready})
	} else {
		writeReady(s.text(), shop, ready)
	}
	switch {
	case !ready.Served():
		return &answered{exitNo}
	case ready.Unread:
		return &answered{exitUnchecked}
	}
	return nil
}

func writeReady(w io.Writer, shop *manifest.Shop, r readiness.Readiness) {
	switch {
	case !r.Served():
		unfit := 0
		for _, id := range r.Today {
			for _, u := range r.Unfit {
				if u == id {
					unfit++
				}
			}
		}
		fmt.Fprintf(w, "✗ NOT READY: %d of %s can't be served.\n", unfit, counted(len(r.Today), "vessel"))
	case r.Unread:
		fmt.Fprintf(w, "? UNCHECKED: %s, and packages that were not read.\n", counted(len(r.Today), "vessel"))
	default:
		fmt.Fprintf(w, "✓ READY: %s can be served.\n", counted(len(r.Today), "vessel"))
	}
	n := 0
	for _, u := range readiness.Urgencies {
		first := true
		for _, t := range r.Tasks {
			if t.Urgency != u {
				continue
			}
			if first {
				fmt.Fprintf(w, "\n%s\n", strings.ToUpper(string(u[:1]))+string(u[1:]))
				first = false
			}
			n++
			writeTask(w, shop, n, t)
		}
	}
	if n == 0 {
		fmt.Fprintln(w, "Nothing is left to do.")
	}
}

func writeTask(w io.Writer, shop *manifest.Shop, n int, t readiness.Task) {
	what := t.Fact
	if v := shop.Vessel(t.Vessel); v != nil {
		what = v.Name + ": " + what
	}
	fmt.Fprintf(w, "%3d. %s\n", n, wrapped(what, "     "))
	fmt.Fprintf(w, "     at  %s\n", wrapped(t.At.String(), "         "))
	fmt.Fprintf(w, "     do  %s\n", wrapped(t.Do, "         "))
}
