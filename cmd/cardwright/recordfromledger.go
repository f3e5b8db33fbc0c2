package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/survey"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// followLedger brings the vessel's file up to date, and notes nothing: with
// --from-ledger where the ledger has gone beyond it, with --undo-by-hand where a
// person changed it.
func followLedger(r *recording) error {
	if err := r.options.only("--from-ledger and --undo-by-hand make the vessel's file as the ledger has it"); err != nil {
		return err
	}
	if r.options.takenOn || r.options.at != "" || r.options.byHand {
		return usage(errors.New("--from-ledger and --undo-by-hand note nothing: leave --taken-on, --by-hand and --at out"))
	}
	var differs []known.FileDiffers
	if k := r.known(); k != nil {
		for _, d := range k.Differs {
			if behind := d.Kind == known.Behind; behind && r.options.follow || !behind && r.options.undo {
				differs = append(differs, d)
			}
		}
	}
	file, err := bringUpToDate(r.shop, r.vessel, r.known(), differs)
	if err != nil {
		return fmt.Errorf("bringing the vessel's file up to date: %w", err)
	}
	versions := map[string]version.V{}
	for _, d := range differs {
		if d.Key == known.VersionKey {
			versions[d.Device] = version.V(d.Ledger)
		}
	}
	r.session.answer(struct {
		Format   int                  `json:"format"`
		File     string               `json:"file"`
		Versions map[string]version.V `json:"versions"`
		Changes  []known.FileDiffers  `json:"changes"`
	}{1, file, versions, append([]known.FileDiffers{}, differs...)}, func(w io.Writer) {
		if file == "" {
			fmt.Fprintf(w, "%s: its file is %s.\n", visible.Visible(r.vessel.Name), map[bool]string{true: "not behind the ledger", false: "as cardwright wrote it"}[r.options.follow])
			return
		}
		fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		for _, d := range differs {
			fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(d.Device+": "+fromLedger(d)), "    "))
		}
	})
	return nil
}

func fromLedger(d known.FileDiffers) string {
	switch {
	case d.Key != known.AboardKey:
		return fmt.Sprintf("%s %s, was %s", d.Key, or(d.Ledger, "nothing"), or(d.File, "nothing"))
	case d.Ledger == "":
		return "taken out: it is no longer aboard"
	}
	return "put in: it is aboard"
}

// bringUpToDate writes into a vessel's file what the ledger has, where the two
// differ, and names the file; "" where nothing was changed.
func bringUpToDate(shop *manifest.Shop, v *manifest.Vessel, k *known.Joined, differs []known.FileDiffers) (string, error) {
	if len(differs) == 0 {
		return "", nil
	}
	if !slices.ContainsFunc(differs, func(d known.FileDiffers) bool { return d.Key != known.VersionKey }) {
		versions := map[string]version.V{}
		for _, d := range differs {
			versions[d.Device] = version.V(d.Ledger)
		}
		return record.WriteVersions(shop, v, versions) // begins again where another van's record writes the file meanwhile
	}
	file, shop, vessel, err := openVessel(shop.Dir, v)
	if err != nil {
		return "", err
	}
	wrote := known.Written{}
	var gone []string
	var fresh []newDevice
	for _, x := range differs {
		d := vessel.Device(x.Device)
		switch {
		case x.Key == known.AboardKey && x.Ledger == "":
			gone = append(gone, x.Device)
			wrote[x.Device] = nil
		case x.Key == known.AboardKey:
			if is := k.Device(x.Device); is != nil {
				fresh = append(fresh, newDevice{id: is.ID, model: is.Model, serial: is.Serial, place: is.Place, version: string(is.Version), variant: is.Variant})
			}
		case d == nil:
		case x.Ledger == "":
			if x.File == "" || known.FileValues(d)[x.Key] == "" {
				continue
			}
			if err := file.Delete(edit.Way{"devices", slices.Index(vessel.Devices, d), x.Key}); err != nil {
				return "", err
			}
			write(wrote, x)
		default:
			if err := setDevice(file, vessel, d, survey.Change{Device: x.Device, Key: x.Key, Is: x.Ledger}); err != nil {
				return "", err
			}
			write(wrote, x)
		}
	}
	if _, err := addDevices(file, shop, vessel, fresh); err != nil {
		return "", err
	}
	if err := takeOutDevices(file, vessel, gone); err != nil {
		return "", err
	}
	if !file.Differs() {
		return "", nil
	}
	if err := edit.Save(shop.Dir, file); err != nil {
		return "", err
	}
	for _, d := range fresh {
		wrote[d.id] = map[string]string{known.ModelKey: d.model, known.SerialKey: d.serial, known.PlaceKey: d.place, known.VersionKey: d.version, known.VariantKey: d.variant}
	}
	return file.Name(), record.KeepWritten(shop, vessel, wrote)
}

func write(wrote known.Written, x known.FileDiffers) {
	if wrote[x.Device] == nil {
		wrote[x.Device] = map[string]string{}
	}
	wrote[x.Device][x.Key] = x.Ledger
}

// takeOutDevices removes devices from a vessel's file, and their ids where another device
// is updated through them.
func takeOutDevices(file *edit.File, vessel *manifest.Vessel, gone []string) error {
	for i, d := range slices.Backward(vessel.Devices) {
		if slices.Contains(gone, d.ID) {
			if err := file.Delete(edit.Way{"devices", i}); err != nil {
				return err
			}
			continue
		}
		if err := takeOutHosts(file, i, d, gone); err != nil {
			return err
		}
	}
	return nil
}

func takeOutHosts(file *edit.File, i int, d *manifest.Device, gone []string) error {
	left := slices.DeleteFunc(slices.Clone(d.Through), func(id string) bool { return slices.Contains(gone, id) })
	switch {
	case len(left) == len(d.Through):
		return nil
	case len(left) == 0:
		return file.Delete(edit.Way{"devices", i, "through"})
	}
	for n, id := range slices.Backward(d.Through) {
		if slices.Contains(gone, id) {
			if err := file.Delete(edit.Way{"devices", i, "through", n}); err != nil {
				return err
			}
		}
	}
	return nil
}
