package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/edit"
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
	for _, d := range differs {
		if err == nil && (d.Key == known.IDKey || d.Key == known.ServedKey) {
			err = followWithContacts(&r.session.terminal, r.shop, r.vessel, d.Ledger, d.Key == known.ServedKey)
		}
	}
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
			fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(d.On()+": "+fromLedger(d)), "    "))
		}
	})
	return nil
}

// broughtBack puts the file of a vessel back that was set aside, where she is served
// again; it reports whether that was what there was to do.
func broughtBack(ctx context.Context, s *session, id string) (bool, error) {
	shop, err := s.shopFor("")
	if err != nil || len(shop.VesselsCalled(id)) > 0 {
		return false, err
	}
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return false, err
	}
	defer l.Close()
	back, err := servedAgain(ctx, shop, l)
	if err != nil || !slices.Contains(back, id) {
		return false, err
	}
	file, err := record.BringBack(shop, id)
	if err != nil {
		return false, fmt.Errorf("putting the vessel's file back: %w", err)
	}
	s.answer(struct {
		Format int    `json:"format"`
		File   string `json:"file"`
	}{1, file}, func(w io.Writer) {
		fmt.Fprintf(w, "%s was put back: she is served again.\n", visible.Visible(file))
	})
	return true, nil
}

func fromLedger(d known.FileDiffers) string {
	switch {
	case d.Key == known.ServedKey:
		return "her file was set aside: she is gone"
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
	file, shop, vessel, err := edit.OpenVessel(shop.Dir, v)
	if err != nil {
		return "", err
	}
	wrote := known.Written{}
	var gone []string
	var fresh []edit.NewDevice
	for _, x := range differs {
		d := vessel.Device(x.Device)
		switch {
		case x.Key == known.IDKey || x.Key == known.ServedKey: // below
		case x.Device == known.Whole:
			if err := setWord(file, x); err != nil {
				return "", err
			}
			write(wrote, x)
		case x.Key == known.AboardKey && x.Ledger == "":
			gone = append(gone, x.Device)
			wrote[x.Device] = nil
		case x.Key == known.AboardKey:
			if is := k.Device(x.Device); is != nil {
				fresh = append(fresh, edit.NewDevice{ID: is.ID, Model: is.Model, Serial: is.Serial, Place: is.Place, Version: string(is.Version), Variant: is.Variant})
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
			if err := edit.SetDevice(file, vessel, x.Device, x.Key, x.Ledger); err != nil {
				return "", err
			}
			write(wrote, x)
		}
	}
	if err := knownModels(shop, fresh); err != nil {
		return "", err
	}
	if _, err := edit.AddDevices(file, shop, vessel, fresh); err != nil {
		return "", err
	}
	if err := edit.RemoveDevices(file, vessel, gone); err != nil {
		return "", err
	}
	if !file.Differs() {
		return record.FollowWhole(shop, vessel, differs)
	}
	if err := edit.Save(shop.Dir, file); err != nil {
		return "", err
	}
	for _, d := range fresh {
		wrote[d.ID] = map[string]string{known.ModelKey: d.Model, known.SerialKey: d.Serial, known.PlaceKey: d.Place, known.VersionKey: d.Version, known.VariantKey: d.Variant}
	}
	if err := record.KeepWritten(shop, vessel, wrote); err != nil {
		return "", err
	}
	name, err := record.FollowWhole(shop, vessel, differs)
	return or(name, file.Name()), err
}

// setWord writes into a vessel's file what the ledger has of her.
func setWord(file *edit.File, x known.FileDiffers) error {
	way := edit.Way{x.Key}
	if x.Key == known.HullKey || x.Key == known.MMSIKey || x.Key == known.IMOKey {
		way = edit.Way{"identity", x.Key}
	}
	if len(way) == 1 {
		return file.Set(way, x.Ledger, edit.VesselKeys)
	}
	return file.Set(way, x.Ledger, nil)
}

func write(wrote known.Written, x known.FileDiffers) {
	if wrote[x.Device] == nil {
		wrote[x.Device] = map[string]string{}
	}
	wrote[x.Device][x.Key] = x.Ledger
}
