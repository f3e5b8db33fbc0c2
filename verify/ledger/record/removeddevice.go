package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/manifest/edit"
	"cardwright/verify/ledger"
)

// takenOffFolder keeps, for each device that was taken off, what went out of the
// vessel's file with it and no event says: without that it can't be put back as it was.
const takenOffFolder = ".taken-off"

// wentWith is such a file.
type wentWith struct {
	Format  int                 `json:"format"`
	Hold    string              `json:"hold,omitempty"`
	HoldWhy string              `json:"hold_why,omitempty"`
	Through map[string][]string `json:"through"` // of the device, and of all that were updated through it
}

// takenOffPath is where it stands, by the event that took the device off.
func takenOffPath(shop *manifest.Shop, e *ledger.Entry) string {
	name := fmt.Sprintf("%s-%s-%d.json", filepath.Base(e.Vessel), e.DeviceChange.Device.ID, e.At.Unix())
	return filepath.Join(shop.Dir, manifest.VesselsFolder, takenOffFolder, name)
}

// KeepTakenOff keeps what goes out of the vessel's file with a device.
func KeepTakenOff(shop *manifest.Shop, v *manifest.Vessel, e *ledger.Entry) error {
	id := e.DeviceChange.Device.ID
	kept := wentWith{Format: 1, Through: map[string][]string{}}
	for _, d := range v.Devices {
		if d.ID == id {
			kept.Hold, kept.HoldWhy = d.Hold.String(), d.HoldWhy
		}
		if d.ID == id || slices.Contains(d.Through, id) {
			kept.Through[d.ID] = d.Through
		}
	}
	text, err := json.Marshal(kept)
	if err != nil {
		return err
	}
	path := takenOffPath(shop, e)
	if err := durable.MakeFolders(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("keeping what goes with %s: %w", id, err)
	}
	if err := durable.Write(path, 0o666, bytes.NewReader(append(text, '\n'))); err != nil {
		return fmt.Errorf("keeping what goes with %s: %w", id, err)
	}
	return nil
}

// readTakenOff reads it; false where nothing was kept, as by another laptop.
func readTakenOff(shop *manifest.Shop, e *ledger.Entry) (kept wentWith, ok bool, err error) {
	path := takenOffPath(shop, e)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return kept, false, nil
	}
	if err != nil {
		return kept, false, fmt.Errorf("reading what went with %s: %w", e.DeviceChange.Device.ID, err)
	}
	defer f.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(f, maxWritten+1))
	if err != nil {
		return kept, false, fmt.Errorf("reading what went with %s: %w", e.DeviceChange.Device.ID, err)
	}
	if err := json.Unmarshal(text, &kept); err != nil || len(text) > maxWritten || kept.Format != 1 {
		return kept, false, fmt.Errorf("%s is not as cardwright wrote it: remove it", path)
	}
	return kept, true, nil
}

// PutBackWays gives a vessel's file, which has a device again that was taken off, what
// went out with it: its hold, and the ways of the devices that were updated through it.
// It names those whose ways somebody has to see to, since they were changed meanwhile,
// or nobody here knows what they were.
func PutBackWays(shop *manifest.Shop, v *manifest.Vessel, e *ledger.Entry) (see []string, err error) {
	id := e.DeviceChange.Device.ID
	file, shop, v, err := edit.OpenVessel(shop.Dir, v)
	if err != nil || v.Device(id) == nil { // an id of the ledger that no file has names no path either
		return nil, err
	}
	kept, ok, err := readTakenOff(shop, e)
	if err != nil {
		return nil, err
	}
	if !ok {
		return couldGoThrough(shop, v, id), nil
	}
	for _, d := range v.Devices {
		was, had := kept.Through[d.ID]
		without := slices.DeleteFunc(slices.Clone(was), func(host string) bool { return host == id })
		missing := slices.ContainsFunc(was, func(host string) bool { return v.Device(host) == nil })
		switch {
		case !had || slices.Equal(was, d.Through):
			continue
		case missing || d.ID != id && !slices.Equal(without, d.Through):
			see = append(see, d.ID)
			continue
		}
		if err := edit.SetThrough(file, v, d.ID, was); err != nil {
			return nil, err
		}
	}
	for key, value := range map[string]string{"hold": kept.Hold, "hold_why": kept.HoldWhy} {
		if value == "" {
			continue
		}
		if err := edit.SetDevice(file, v, id, key, value); err != nil {
			return nil, err
		}
	}
	return see, edit.Save(shop.Dir, file)
}

// couldGoThrough are the devices that could be updated through one and aren't.
func couldGoThrough(shop *manifest.Shop, v *manifest.Vessel, host string) (ids []string) {
	m := shop.Model(v.Device(host).Model)
	for _, d := range v.Devices {
		if m != nil && slices.Contains(m.PassesOn, d.Model) && !slices.Contains(d.Through, host) {
			ids = append(ids, d.ID)
		}
	}
	return ids
}
