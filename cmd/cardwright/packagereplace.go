package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media/intake"
	"cardwright/media/intake/adding"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

func newPackageReplaceCommand(s *session) *cobra.Command {
	var o packageOptions
	cmd := &cobra.Command{
		Use:   "replace FILE --why TEXT",
		Short: "Replace a file of a release by a download",
		Long: `replace is for a maker who publishes other bytes under the same version. The download
is checked as package add checks it, and takes the place of the file that the release
has (--file where it has several). The catalogue keeps under history what the old file
was, until when, and why it went: that is how cards with the old bytes are recognised.
Those in the ledger are named.

The old file leaves the package folder last of all. Interrupted at any moment, the
shop has the old file or the new one, and the same command goes on.`,
		Example: `  cardwright package replace plot12-4.0.upd --model fennick-plot-12 \
      --version 4.0 --why 'the maker mended the menu'`,
		Args: exactly(1, "one download"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Replace = true
			return runPackageReplace(interruptible(cmd), s, o, args[0])
		},
	}
	o.addDownloadFlags(cmd)
	cmd.Flags().StringVar(&o.Old, "file", "", "the `FILE` of the release that it replaces (default: the only one)")
	cmd.Flags().StringVar(&o.Why, "why", "", "`WHY`: what the maker says of it, or you do")
	return cmd
}

// fileNamed refuses flags that don't name a release and a reason.
func (o *packageOptions) fileNamed() error {
	switch {
	case o.Model == "" || o.version == "":
		return usage(errors.New("name the release with --model and --version"))
	case o.Why == "":
		return usage(errors.New("give the reason with --why: the catalogue's history keeps it"))
	}
	if m := manifest.Problem("Past.why", o.Why); m != nil {
		return usage(fmt.Errorf("--why: %s: found %s, expected %s", m.What, m.Found, m.Expected))
	}
	return nil
}

func runPackageReplace(ctx context.Context, s *session, o packageOptions, path string) error {
	if err := o.check(); err != nil {
		return usage(err)
	}
	if err := o.fileNamed(); err != nil {
		return err
	}
	a, err := takeIn(ctx, s, o, path)
	if err != nil && !is[*intake.Refused](err) {
		return err
	}
	answer := replaced{Format: 1, Files: []adding.Added{a}}
	if err != nil {
		answer.Files[0].Error = err.Error()
	} else {
		answer.Carried, answer.Note = carried(ctx, s, o)
	}
	s.answer(answer, func(w io.Writer) {
		tellAdded(w, a, err)
		if err == nil {
			answer.tell(w)
		}
	})
	if err != nil {
		return &answered{code(err)}
	}
	return nil
}

// replaced is the answer of package replace and package remove.
type replaced struct {
	Format  int              `json:"format"`
	Files   []adding.Added   `json:"files,omitempty"`   // what was taken in
	Removed []adding.Removed `json:"removed,omitempty"` // what was taken out
	Carried []audit.Carried  `json:"carried"`           // cards that have the release, as the ledger knows
	Note    string           `json:"note,omitempty"`    // why the ledger says nothing
}

// carried are the cards that went out with a release before now.
func carried(ctx context.Context, s *session, o packageOptions) ([]audit.Carried, string) {
	none := []audit.Carried{}
	shop, err := s.shop()
	if err != nil {
		return none, err.Error()
	}
	if _, err := os.Stat(ledgerAddress(shop)); err != nil && !store.IsPostgres(shop.Ledger) {
		return none, "there is no ledger here, so nobody knows where cards with the old bytes went"
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return none, "nobody knows where cards with the old bytes went: " + err.Error()
	}
	defer l.Close() // opened for reading only
	u, err := audit.OfRelease(ctx, l, o.Model, o.Version, audit.Filter{})
	if err != nil {
		return none, "nobody knows where cards with the old bytes went: " + err.Error()
	}
	return u.Carried, ""
}

func (r replaced) tell(w io.Writer) {
	switch {
	case r.Note != "":
		fmt.Fprintf(w, "Note: %s\n", wrapped(r.Note, "  "))
	case len(r.Carried) == 0:
		fmt.Fprintln(w, "The ledger knows of no card with the old bytes.")
	default:
		fmt.Fprintf(w, "Cards with the old bytes went to:\n")
		writeCarried(w, r.Carried, nil)
	}
}

func newPackageRemoveCommand(s *session) *cobra.Command {
	var o packageOptions
	var release bool
	cmd := &cobra.Command{
		Use:   "remove --model MODEL --version VERSION --why TEXT",
		Short: "Take a file out of a release, or the whole release",
		Long: `remove takes a file out of the catalogue and out of the package folder: the only one of
its release, or the one that --file names. With --release the whole release goes, with
all that the catalogue says of it. What it was and why it went stays under history.
Cards that carry it are named, where the ledger knows of them.`,
		Example: `  cardwright package remove --model fennick-plot-12 --version 4.0 \
      --release --why 'never used'`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runPackageRemove(interruptible(cmd), s, o, release)
		},
	}
	o.addFileFlags(cmd)
	cmd.Flags().StringVar(&o.Old, "file", "", "the `FILE` to take out (default: the only one)")
	cmd.Flags().BoolVar(&release, "release", false, "take out the whole release")
	cmd.Flags().StringVar(&o.Why, "why", "", "`WHY` it goes; the catalogue's history keeps it")
	return cmd
}

func runPackageRemove(ctx context.Context, s *session, o packageOptions, whole bool) error {
	if err := o.check(); err != nil {
		return usage(err)
	}
	if err := o.fileNamed(); err != nil {
		return err
	}
	if whole && o.Old != "" {
		return usage(errors.New("either --file, for one file, or --release, for all of it"))
	}
	shop, err := s.shop()
	if err != nil {
		return err
	}
	in := s.packageShop()
	leave, err := intake.TakeTurn(ctx, shop, in.Waits)
	if err != nil {
		return err
	}
	defer leave()
	gone, stays, err := adding.Remove(in, o.Said, whole)
	if err != nil {
		return err
	}
	answer := replaced{Format: 1, Removed: gone}
	answer.Carried, answer.Note = carried(ctx, s, o)
	s.answer(answer, func(w io.Writer) {
		for _, r := range answer.Removed {
			fmt.Fprintln(w, wrapped(fmt.Sprintf("✓ taken out: %s of %s %s", r.Name, r.Model, r.Version), "  "))
			writeLabelled(w, "stood", r.Path)
		}
		if whole {
			fmt.Fprintf(w, "✓ taken out of the catalogue: %s %s\n", o.Model, o.Version)
		}
		if stays {
			fmt.Fprintln(w, wrapped("Note: the release stays in the catalogue without a file, and may be planned; --release takes it out.", "  "))
		}
		answer.tell(w)
	})
	return nil
}

func ofVariant(v string) string {
	if v == "" {
		return ""
	}
	return " of variant " + v
}
