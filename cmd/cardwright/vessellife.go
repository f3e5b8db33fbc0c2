package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

func newVesselRenameCommand(s *session) *cobra.Command {
	var o lifeOptions
	var id, name string
	cmd := &cobra.Command{
		Use:   "rename VESSEL [--name NAME] [--id ID]",
		Short: "Note that a vessel has another name or id",
		Long: `rename notes the new name or id in the ledger and in the vessel's file. With another id
her file gets that name, and so does whom to call about her. She is still found by the
old id, and so are her cards, her sheets and her history. Nobody else can have it.`,
		Example: `  cardwright vessel rename kittiwake --name 'Kitty Wake'
  cardwright vessel rename kittiwake --name 'Kitty Wake' --id kitty-wake`,
		Args: exactly(1, "a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if name == "" && id == "" {
				return usage(errors.New("say with --name what she is called now, or with --id what commands call her"))
			}
			for _, f := range [][3]string{{"--name", "Vessel.name", name}, {"--id", "Vessel.vessel", id}} {
				if m := manifest.Problem(f[1], f[2]); f[2] != "" && m != nil {
					return usage(fmt.Errorf("%s: %s: found %s, expected %s", f[0], m.What, m.Found, m.Expected))
				}
			}
			return runVesselChange(interruptible(cmd), s, o, args[0], func(shop *manifest.Shop, v *manifest.Vessel) (ledger.Entry, error) {
				e := record.Renaming(v, or(id, v.ID), or(name, v.Name))
				if e.VesselChange.ID != "" {
					if err := mayBeCalled(interruptible(cmd), shop, v.ID, id); err != nil {
						return e, err
					}
				}
				return e, nil
			})
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&name, "name", "", "the `NAME` that she has now")
	cmd.Flags().StringVar(&id, "id", "", "the `ID` by which commands call her now")
	return cmd
}

// mayBeCalled refuses an id that another vessel has or had; vessel is "" for one that
// isn't there yet.
func mayBeCalled(ctx context.Context, shop *manifest.Shop, vessel, id string) error {
	var taken audit.IDs
	l, err := openLedgerIfAny(ctx, shop)
	if err != nil {
		return err
	}
	if l != nil {
		defer l.Close()
		if taken, err = audit.AllIDs(ctx, l); err != nil {
			return err
		}
	}
	if err := record.MayBeCalled(shop, taken.Names, taken.Has, vessel, id); err != nil {
		return usage(fmt.Errorf("%w: choose another id", err))
	}
	return nil
}

func newVesselSoldCommand(s *session) *cobra.Command {
	var o lifeOptions
	cmd := &cobra.Command{
		Use:   "sold VESSEL",
		Short: "Note that a vessel has another owner",
		Long: `sold notes that she has another owner. It notes no names, since the ledger can't forget.
It takes the old owner out of contacts.yaml; vessel contact writes down the new one.`,
		Example: `  cardwright vessel sold kittiwake`,
		Args:    exactly(1, "a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runVesselChange(interruptible(cmd), s, o, args[0], record.Noting(ledger.VesselSold))
		},
	}
	o.addFlags(cmd)
	return cmd
}

func newVesselGoneCommand(s *session) *cobra.Command {
	var o lifeOptions
	cmd := &cobra.Command{
		Use:   "gone VESSEL",
		Short: "Note that a vessel is no longer served",
		Long: `gone notes in the ledger that she is no longer served (broken up, lost, sold away), and
puts her file into vessels/.gone. She is planned and checked no more. Her history
stays.`,
		Example: `  cardwright vessel gone kittiwake`,
		Args:    exactly(1, "a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runVesselChange(interruptible(cmd), s, o, args[0], record.Noting(ledger.VesselGone))
		},
	}
	o.addFlags(cmd)
	return cmd
}

func runVesselChange(ctx context.Context, s *session, o lifeOptions, id string, change func(*manifest.Shop, *manifest.Vessel) (ledger.Entry, error)) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	at, err := o.moment(ctx, s)
	if err != nil {
		return err
	}
	e, err := change(shop, vessel)
	if err != nil {
		return err
	}
	e.At, e.VesselChange.Note = at, o.note
	if e.Kind == ledger.VesselRenamed && e.VesselChange.ID == "" && e.VesselChange.Name == "" {
		if done, err := endRename(s, shop, vessel); done || err != nil {
			return err
		}
		return usage(fmt.Errorf("she is called %s already, and her id is %s", vessel.Name, vessel.ID))
	}
	undo, err := noteLife(ctx, s, shop, key, e)
	if err != nil {
		return err
	}
	name, err := record.FollowVessel(shop, vessel, &e)
	if err == nil {
		err = followWithContacts(&s.terminal, shop, vessel, e.VesselChange.ID, e.Kind != ledger.VesselRenamed)
	}
	if err != nil {
		return fmt.Errorf("the ledger has it, but not all files of the shop could be brought up to date: %w; once they can: cardwright record %s --from-ledger", err, vessel.ID)
	}
	answerLife(&s.terminal, e, name, undo)
	return nil
}

// endRename ends a rename that was cut off after the ledger and the vessel's file had it,
// and reports whether there was anything left of one.
func endRename(s *session, shop *manifest.Shop, v *manifest.Vessel) (bool, error) {
	name, err := record.Rename(shop, v, "", "")
	if err == nil {
		err = followWithContacts(&s.terminal, shop, v, v.ID, false)
	}
	if name == "" || err != nil {
		return false, err
	}
	s.answer(struct {
		Format int    `json:"format"`
		File   string `json:"file"`
	}{1, name}, func(w io.Writer) { fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(name)) })
	return true, nil
}

// followWithContacts keeps whom to call about a vessel under the id that she has now,
// "" where that stays, or forgets it where she was sold or is gone.
func followWithContacts(t *terminal, shop *manifest.Shop, v *manifest.Vessel, id string, forget bool) error {
	ids := append([]string{v.ID}, v.Formerly...)
	if forget {
		forgot, err := contacts.Forget(shop.Dir, ids...)
		if forgot {
			fmt.Fprintf(t.errs, "Whom to call about %s was taken out of %s.\n", visible.Visible(v.Name), contacts.File)
		}
		return err
	}
	if id == "" {
		return nil
	}
	for _, old := range ids {
		if err := contacts.Rename(shop.Dir, old, id); err != nil {
			return err
		}
	}
	return nil
}
