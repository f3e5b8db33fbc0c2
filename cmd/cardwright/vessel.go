package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/record"
)

func newVesselCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "vessel", Short: "Write down which vessels there are, and what became of them"}
	cmd.AddCommand(newVesselAddCommand(s), newVesselContactCommand(s), newVesselRenameCommand(s), newVesselSoldCommand(s), newVesselGoneCommand(s))
	return cmd
}

// vesselOptions is a vessel given by flags.
type vesselOptions struct {
	name, berth, supply, folders string
	imo, mmsi, hull              string
	device                       []string
	devices                      string // a table of devices
	fromCard                     string
	network                      string // a capture
	ask                          bool
}

func newVesselAddCommand(s *session) *cobra.Command {
	var o vesselOptions
	cmd := &cobra.Command{
		Use:   "add [ID]",
		Short: "Add a vessel and its devices",
		Long: `add writes the file of a vessel. At a terminal it asks for what the flags leave out,
unless they say what is aboard.

--devices takes a table (CSV). It must have the column model, and can have:

  id, serial, place, version, variant, through, hold, hold_why

A device without an id is named for its place or its kind. A version that is left out
is unknown. A device without a card slot, and without through, is updated through
those aboard whose model can.

--network takes models, serials and versions from a capture of the boat's network, as
cardwright survey reads it. Give devices that aren't on the network with --device.

--from-card takes what the record on a card says: its vessel, and the devices that it
has packages for. A record doesn't say what they run.`,
		Example: `  cardwright vessel add kittiwake --berth 'Hollin Quay' --devices devices.csv
  cardwright vessel add kittiwake --from-card DRIVE`,
		Args: atMostOne("id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runVesselAdd(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.name, "name", "", "its `NAME` (default: from the id)")
	flags.StringVar(&o.berth, "berth", "", "`BERTH` where it lies")
	flags.StringVar(&o.supply, "supply", "", "its electrical supply: `VOLTS` such as 12V")
	flags.StringVar(&o.folders, "folders", "", "how folders on its cards are named: `device|model`")
	flags.StringVar(&o.imo, "imo", "", "IMO `NUMBER`")
	flags.StringVar(&o.mmsi, "mmsi", "", "MMSI `NUMBER`")
	flags.StringVar(&o.hull, "hull", "", "hull or registration `NUMBER`")
	flags.StringArrayVar(&o.device, "device", nil, "a `DEVICE`, such as \"model=fennick-plot-12,place=lower helm,version=3.1\"; may be repeated")
	flags.StringVar(&o.devices, "devices", "", "`TABLE` (CSV) of the devices")
	flags.StringVar(&o.fromCard, "from-card", "", "`CARD` (drive, image or folder) whose record is taken")
	flags.StringVar(&o.network, "network", "", "`CAPTURE` of the boat's network, from which devices are taken")
	flags.BoolVar(&o.ask, "ask", false, askFlag)
	return cmd
}

func runVesselAdd(ctx context.Context, s *session, o vesselOptions, args []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	id := ""
	if len(args) == 1 {
		id = args[0]
	}
	devices, err := o.given()
	if err != nil {
		return err
	}
	if o.fromCard != "" {
		card, err := fromCard(&s.terminal, shop, o.fromCard)
		if err != nil {
			return err
		}
		id, o.name = or(id, card.id), or(o.name, card.name)
		devices = append(devices, card.devices...)
	}
	if o.network != "" {
		heard, err := fromNetwork(ctx, &s.terminal, shop, o.network)
		if err != nil {
			return err
		}
		devices = append(heard, devices...)
	}
	a := s.asking(ctx, o.ask, id != "" && len(devices) > 0)
	if id, err = a.must(id, "ID", "Vessel.vessel", ""); err != nil {
		return err
	}
	if v := shop.Vessel(id); v != nil {
		return fmt.Errorf("there is a vessel %s already, in %s: it was left as it is", id, v.At("").File)
	}
	if err := mayBeCalled(ctx, shop, "", id); err != nil {
		return err
	}
	if err := o.askVessel(a, id); err != nil {
		return err
	}
	if len(devices) == 0 {
		if devices, err = askDevices(a, shop); err != nil {
			return err
		}
	}
	if err := knownModels(shop, devices); err != nil {
		return err
	}
	file, err := edit.NewVessel{
		ID: id, Name: o.name, IMO: o.imo, MMSI: o.mmsi, Hull: o.hull,
		Berth: o.berth, Supply: o.supply, Folders: o.folders, Devices: devices,
	}.File(shop)
	if err != nil {
		return err
	}
	will, err := edit.Check(shop.Dir, file)
	if err != nil {
		return fmt.Errorf("nothing was written, since the shop would not load with it: %w", err)
	}
	if err := edit.Save(shop.Dir, file); err != nil {
		return err
	}
	if err := record.KeepWritten(will, will.Vessel(id), record.AllWritten(will.Vessel(id))); err != nil {
		return err
	}
	if err := missingSchemas(shop.Dir); err != nil {
		return err
	}
	s.wrote(fmt.Sprintf("vessel added: %s, with %s", o.name, counted(file.Len("devices"), "device")), "cardwright plan "+id, file.Name())
	return nil
}

func (o *vesselOptions) askVessel(a *asking, id string) (err error) {
	for _, q := range []struct {
		to               *string
		flag, key, usual string
		ask              func(given, flag, key, usual string) (string, error)
	}{
		{&o.name, "--name", "Vessel.name", edit.TitleOf(id), a.must},
		{&o.berth, "--berth", "Vessel.berth", "", a.value},
		{&o.supply, "--supply", "Vessel.supply", "", a.value},
		{&o.hull, "--hull", "Identity.hull", "", a.value},
		{&o.mmsi, "--mmsi", "Identity.mmsi", "", a.value},
		{&o.imo, "--imo", "Identity.imo", "", nothingUsual},
		{&o.folders, "--folders", "Vessel.folders", "", nothingUsual},
	} {
		if *q.to, err = q.ask(*q.to, q.flag, q.key, q.usual); err != nil {
			return err
		}
	}
	return nil
}

// given are the devices of --devices and --device.
func (o *vesselOptions) given() ([]edit.NewDevice, error) {
	var all []edit.NewDevice
	if o.devices != "" {
		table, err := readTable(o.devices, edit.DeviceColumns)
		if err != nil {
			return nil, err
		}
		for _, r := range table.Rows {
			all = append(all, edit.DeviceInRow(r))
		}
	}
	for _, text := range o.device {
		d, err := parseDevice(text)
		if err != nil {
			return nil, usage(err)
		}
		all = append(all, d)
	}
	return all, nil
}

// parseDevice reads one --device: key=value, separated by commas.
func parseDevice(text string) (edit.NewDevice, error) {
	var d edit.NewDevice
	through := ""
	to := map[string]*string{
		"model": &d.Model, "id": &d.ID, "serial": &d.Serial, "place": &d.Place, "version": &d.Version,
		"variant": &d.Variant, "through": &through, "hold": &d.Hold, "hold_why": &d.HoldWhy,
	}
	parts, err := csv.NewReader(strings.NewReader(text)).Read()
	if err != nil {
		return d, fmt.Errorf("--device %q: %w", text, err)
	}
	for _, p := range parts {
		key, value, ok := strings.Cut(p, "=")
		key = strings.TrimSpace(key)
		if !ok || to[key] == nil {
			return d, fmt.Errorf("--device %q: found %q, expected key=value with one of the keys %s", text, p, strings.Join(deviceKeys(), ", "))
		}
		*to[key] = strings.TrimSpace(value)
		if m := manifest.Problem("Device."+key, *to[key]); m != nil && key != "through" {
			return d, fmt.Errorf("--device %q: %s: found %s, expected %s%s", text, m.What, m.Found, m.Expected, tryIt(m.Advice))
		}
	}
	d.Through = strings.Fields(through)
	if d.Model == "" {
		return d, fmt.Errorf("--device %q: no model", text)
	}
	return d, nil
}

func deviceKeys() []string {
	all := make([]string, len(edit.DeviceColumns))
	for i, c := range edit.DeviceColumns {
		all[i] = c.Name
	}
	return all
}

// askDevices asks for devices until there are no more.
func askDevices(a *asking, shop *manifest.Shop) ([]edit.NewDevice, error) {
	if a.in == nil {
		return nil, usage(errors.New("say with --device or --devices what is aboard"))
	}
	fmt.Fprintln(a.terminal.errs, wrapped("Models in the catalogue: "+strings.Join(shop.ModelIDs(), ", "), "  "))
	var all []edit.NewDevice
	for {
		model, err := a.line(manifest.Help("Device.model"), "no more")
		if err != nil || model == "" || model == "no more" {
			return all, err
		}
		if shop.Model(model) == nil {
			a.say("no such model%s; cardwright model add adds one", tryIt(manifest.Nearest(model, shop.ModelIDs())))
			continue
		}
		d := edit.NewDevice{Model: model}
		for _, q := range []struct {
			to         *string
			key, usual string
		}{
			{&d.Place, "Device.place", ""}, {&d.Serial, "Device.serial", ""}, {&d.Version, "Device.version", string(version.Unknown)},
		} {
			if *q.to, err = a.value("", "", q.key, q.usual); err != nil {
				return nil, err
			}
		}
		all = append(all, d)
	}
}
