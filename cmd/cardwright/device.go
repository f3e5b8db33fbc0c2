package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
)

func newDeviceCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "device", Short: "Note that a device was replaced, moved or taken off"}
	cmd.AddCommand(newDeviceReplaceCommand(s), newDeviceMoveCommand(s), newDeviceRemoveCommand(s))
	return cmd
}

// lifeOptions are those of every command that notes what became of something.
type lifeOptions struct {
	key      keyOptions
	at, note string
}

func (o *lifeOptions) addFlags(cmd *cobra.Command) {
	o.key.addFlag(cmd)
	cmd.Flags().StringVar(&o.at, "at", "", "`WHEN` it happened: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	cmd.Flags().StringVar(&o.note, "note", "", "a note with it, as `TEXT`; no names")
}

func (o *lifeOptions) moment(ctx context.Context, s *session) (time.Time, error) {
	if o.at == "" {
		return time.Now().UTC().Truncate(time.Second), nil
	}
	if err := s.sureMoment(ctx, "--at", &o.at); err != nil {
		return time.Time{}, err
	}
	return pastMoment(o.at)
}

func newDeviceReplaceCommand(s *session) *cobra.Command {
	var o lifeOptions
	var box record.NewBox
	var runs string
	cmd := &cobra.Command{
		Use:   "replace VESSEL DEVICE",
		Short: "Note that a device was replaced by another box",
		Long: `replace notes the new box in the ledger and in the vessel's file. It takes over nothing
that was known of the old box or open about it. What the new one runs is unknown
unless you give the version that it shows.`,
		Example: `  cardwright device replace kittiwake radar --serial R2-01305 --version v1.8`,
		Args:    exactly(2, "a vessel and a device"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if runs != "" {
				v, err := version.Parse(runs)
				if err != nil {
					return usage(fmt.Errorf("--version: %w", err))
				}
				box.Version = v
			}
			return runDevice(interruptible(cmd), s, o, args, func(shop *manifest.Shop, job *record.Job, at time.Time) (ledger.Entry, record.Changed, error) {
				if box.Model != "" && shop.Model(box.Model) == nil {
					return ledger.Entry{}, nil, usage(fmt.Errorf("no model %q in the catalogue%s", box.Model, tryIt(manifest.Nearest(box.Model, shop.ModelIDs()))))
				}
				e, changed := job.Replaced(args[1], box, at, o.note)
				return e, changed, nil
			})
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&box.Serial, "serial", "", "serial `NUMBER` of the new box; without it none is written down")
	cmd.Flags().StringVar(&box.Model, "model", "", "its `MODEL`, where it is another")
	cmd.Flags().StringVar(&runs, "version", "", "the `VERSION` that it shows; without it the version is unknown")
	cmd.Flags().StringVar(&box.Place, "place", "", "its `PLACE`, where it is another")
	return cmd
}

func newDeviceMoveCommand(s *session) *cobra.Command {
	var o lifeOptions
	var place string
	cmd := &cobra.Command{
		Use:     "move VESSEL DEVICE --place PLACE",
		Short:   "Note that a device was moved to another place",
		Long:    `move notes the new place in the ledger and in the vessel's file.`,
		Example: `  cardwright device move kittiwake radar --place 'lower arch'`,
		Args:    exactly(2, "a vessel and a device"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if place == "" {
				return usage(errors.New("say with --place where it is now"))
			}
			return runDevice(interruptible(cmd), s, o, args, func(_ *manifest.Shop, job *record.Job, at time.Time) (ledger.Entry, record.Changed, error) {
				e, changed := job.Moved(args[1], place, at, o.note)
				return e, changed, nil
			})
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&place, "place", "", "`PLACE` where it is now")
	return cmd
}

func newDeviceRemoveCommand(s *session) *cobra.Command {
	var o lifeOptions
	cmd := &cobra.Command{
		Use:   "remove VESSEL DEVICE",
		Short: "Note that a device was taken off the boat",
		Long: `remove notes it in the ledger and takes the device out of the vessel's file. Devices
that were updated through it lose that way.`,
		Example: `  cardwright device remove kittiwake sounder`,
		Args:    exactly(2, "a vessel and a device"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDevice(interruptible(cmd), s, o, args, func(_ *manifest.Shop, job *record.Job, at time.Time) (ledger.Entry, record.Changed, error) {
				e, changed := job.TakenOff(args[1], at, o.note)
				return e, changed, nil
			})
		},
	}
	o.addFlags(cmd)
	return cmd
}

// modelFits refuses another model that the vessel's file can't have, before anything is
// noted: one that passes on no updates where others are updated through it.
func modelFits(shop *manifest.Shop, vessel *manifest.Vessel, c *ledger.DeviceChange) error {
	if c.Device.Model == "" || c.Device.Model == c.Was.Device.Model {
		return nil
	}
	file, _, now, err := edit.OpenVessel(shop.Dir, vessel)
	if err != nil {
		return err
	}
	if err := edit.SetDevice(file, now, c.Device.ID, known.ModelKey, c.Device.Model); err != nil {
		return err
	}
	return edit.Loads(shop.Dir, file)
}

// runDevice notes a change of a device, and then writes it into the vessel's file.
func runDevice(ctx context.Context, s *session, o lifeOptions, args []string, change func(*manifest.Shop, *record.Job, time.Time) (ledger.Entry, record.Changed, error)) error {
	shop, vessel, err := s.vessel(args[0])
	if err != nil {
		return err
	}
	if vessel.Device(args[1]) == nil {
		var ids []string
		for _, d := range vessel.Devices {
			ids = append(ids, d.ID)
		}
		return usage(fmt.Errorf("no device %q aboard %s%s; there are: %s", args[1], vessel.Name, tryIt(manifest.Nearest(args[1], ids)), strings.Join(ids, ", ")))
	}
	if differs := s.known[vessel.ID]; differs != nil && slices.ContainsFunc(differs.Differs, func(x known.FileDiffers) bool { return x.Device == args[1] }) {
		writeOpen(s.errs, &s.terminal, vessel, s.known[vessel.ID])
		return usage(fmt.Errorf("the file of %s and the ledger differ on %s: settle that first, as above", vessel.Name, args[1]))
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	at, err := o.moment(ctx, s)
	if err != nil {
		return err
	}
	file := vessel
	if k := s.known[vessel.ID]; k != nil {
		file = k.File
	}
	e, changed, err := change(shop, &record.Job{Vessel: file, Catalogue: shop.Models}, at)
	if err != nil {
		return err
	}
	if len(changed) == 0 && e.Kind == ledger.DeviceMoved {
		return usage(fmt.Errorf("%s is there already: %s", args[1], vessel.Device(args[1]).Place))
	}
	if err := modelFits(shop, vessel, e.DeviceChange); err != nil {
		return err
	}
	if e.Kind == ledger.DeviceTakenOff {
		if err := record.KeepTakenOff(shop, file, &e); err != nil {
			return err
		}
	}
	undo, err := noteLife(ctx, s, shop, key, e)
	if err != nil {
		return err
	}
	name, err := bringUpToDate(shop, vessel, s.known[vessel.ID], changed)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the vessel's file could not be brought up to date: %w; once it can: cardwright record %s --from-ledger", err, vessel.ID)
	}
	answerLife(&s.terminal, e, name, undo)
	return nil
}
