package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/manifest/durable"
	"cardwright/manifest/edit"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// goneFolder keeps the files of vessels that are gone. What begins with a dot is no
// part of a shop.
const goneFolder = ".gone"

func newVesselRenameCommand(s *session) *cobra.Command {
	var o lifeOptions
	var name string
	cmd := &cobra.Command{
		Use:   "rename VESSEL --name NAME",
		Short: "Note that a vessel has another name",
		Long: `rename notes the new name in the ledger and in the vessel's file. Her id stays, so her
history, her cards and her sheets stay hers.`,
		Example: `  cardwright vessel rename kittiwake --name 'Skerry Light'`,
		Args:    exactly(1, "a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if name == "" {
				return usage(errors.New("say with --name what she is called now"))
			}
			if m := manifest.Problem("Vessel.name", name); m != nil {
				return usage(fmt.Errorf("--name: %s: found %s, expected %s", m.What, m.Found, m.Expected))
			}
			return runVesselChange(interruptible(cmd), s, o, args[0], func(v *manifest.Vessel) (ledger.Kind, ledger.VesselChange) {
				return ledger.VesselRenamed, ledger.VesselChange{Name: name, Was: &ledger.Called{ID: v.ID, Name: v.Name}}
			})
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&name, "name", "", "the `NAME` that she has now")
	return cmd
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
			return runVesselChange(interruptible(cmd), s, o, args[0], func(*manifest.Vessel) (ledger.Kind, ledger.VesselChange) {
				return ledger.VesselSold, ledger.VesselChange{}
			})
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
			return runVesselChange(interruptible(cmd), s, o, args[0], func(*manifest.Vessel) (ledger.Kind, ledger.VesselChange) {
				return ledger.VesselGone, ledger.VesselChange{}
			})
		},
	}
	o.addFlags(cmd)
	return cmd
}

func runVesselChange(ctx context.Context, s *session, o lifeOptions, id string, change func(*manifest.Vessel) (ledger.Kind, ledger.VesselChange)) error {
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
	kind, c := change(vessel)
	if kind == ledger.VesselRenamed && c.Name == vessel.Name {
		return usage(fmt.Errorf("she is called %s already", vessel.Name))
	}
	c.Note = o.note
	e := ledger.Entry{At: at, Kind: kind, Vessel: vessel.ID, Berth: vessel.Berth, VesselChange: &c}
	undo, err := noteLife(ctx, s, shop, key, e)
	if err != nil {
		return err
	}
	name, err := s.followVessel(shop, vessel, e)
	if err != nil {
		return fmt.Errorf("the ledger has it, but the vessel's file could not be brought up to date: %w", err)
	}
	if kind == ledger.VesselSold || kind == ledger.VesselGone {
		forgot, err := contacts.Keep(shop.Dir, contacts.Contact{Vessel: vessel.ID})
		if err != nil {
			return fmt.Errorf("the ledger has it, but whom to call could not be forgotten: %w", err)
		}
		if forgot {
			fmt.Fprintf(s.errs, "Whom to call about %s was taken out of %s.\n", visible.Visible(vessel.Name), contacts.File)
		}
	}
	answerLife(&s.terminal, e, name, undo)
	return nil
}

// followVessel does with a vessel's file what became of the vessel.
func (s *session) followVessel(shop *manifest.Shop, vessel *manifest.Vessel, e ledger.Entry) (string, error) {
	name := edit.NameOf(vessel.At(""))
	switch e.Kind {
	case ledger.VesselRenamed:
		return setVesselName(shop, vessel, e.VesselChange.Name)
	case ledger.VesselGone:
		to := goneFile(shop, vessel.ID)
		if err := durable.MakeFolders(filepath.Dir(to), 0o755); err != nil {
			return "", err
		}
		return name, durable.RenameNew(filepath.Join(shop.Dir, filepath.FromSlash(name)), to)
	}
	return "", nil
}

func goneFile(shop *manifest.Shop, id string) string {
	return filepath.Join(shop.Dir, manifest.VesselsFolder, goneFolder, id+".yaml")
}

func setVesselName(shop *manifest.Shop, v *manifest.Vessel, name string) (string, error) {
	file, _, _, err := edit.OpenVessel(shop.Dir, v)
	if err != nil {
		return "", err
	}
	if err := file.Set(edit.Way{"name"}, name, edit.VesselKeys); err != nil {
		return "", err
	}
	if !file.Differs() {
		return "", nil
	}
	return file.Name(), edit.Save(shop.Dir, file)
}

// undoLife takes back what became of a boat or a device, in the ledger and in her
// file.
func (s *session) undoLife(ctx context.Context, shop *manifest.Shop, key *keys.Key, c, was ledger.Entry) error {
	if err := note(ctx, s, shop, key, c); err != nil {
		return err
	}
	file, err := s.undoInFile(ctx, shop, was)
	if err != nil {
		return fmt.Errorf("the ledger has it, but the vessel's file could not be brought up to date: %w", err)
	}
	answerCorrection(&s.terminal, c, file, nil)
	return nil
}

func (s *session) undoInFile(ctx context.Context, shop *manifest.Shop, was ledger.Entry) (string, error) {
	vessel := shop.Vessel(was.Vessel)
	if was.Kind == ledger.VesselGone {
		from, name := goneFile(shop, was.Vessel), manifest.VesselsFolder+"/"+was.Vessel+".yaml"
		if _, err := os.Stat(from); err != nil || vessel != nil {
			return "", nil // another laptop's
		}
		return name, durable.RenameNew(from, filepath.Join(shop.Dir, filepath.FromSlash(name)))
	}
	if vessel == nil {
		return "", nil
	}
	if was.VesselChange != nil {
		if x := was.VesselChange; x.Was != nil && x.Name == vessel.Name {
			return setVesselName(shop, vessel, x.Was.Name)
		}
		return "", nil
	}
	if err := learn(ctx, s, shop, vessel); err != nil {
		return "", err
	}
	return bringUpToDate(shop, vessel, s.known[vessel.ID], record.Undone(was.DeviceChange, was.Kind))
}
