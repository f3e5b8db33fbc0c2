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

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/verify/ledger/known"
)

// writtenFolder keeps, for each vessel, what cardwright last wrote into its file:
// what differs from that was changed by a person. What begins with a dot is no
// part of a shop.
const writtenFolder = ".written"

// maxWritten is the longest such file that is read, in bytes.
const maxWritten = 1 << 20

// writtenFile is such a file.
type writtenFile struct {
	Format  int           `json:"format"`
	Devices known.Written `json:"devices"`

	Vessel map[string]string `json:"vessel,omitempty"` // of the vessel herself
}

func writtenPath(shop *manifest.Shop, vessel string) string {
	return filepath.Join(shop.Dir, manifest.VesselsFolder, writtenFolder, vessel+".json")
}

// LastWritten is what cardwright last wrote into a vessel's file, under whatever id
// she had then; nil where nothing is remembered.
func LastWritten(shop *manifest.Shop, vessel *manifest.Vessel) (known.Written, error) {
	for _, id := range append([]string{vessel.ID}, vessel.Formerly...) {
		w, err := writtenUnder(shop, id)
		if w != nil || err != nil {
			return w, err
		}
	}
	return nil, nil
}

func writtenUnder(shop *manifest.Shop, vessel string) (known.Written, error) {
	path := writtenPath(shop, vessel)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the state of %s that was last written: %w", vessel, err)
	}
	defer f.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(f, maxWritten+1))
	if err != nil {
		return nil, fmt.Errorf("reading the state of %s that was last written: %w", vessel, err)
	}
	var w writtenFile
	if err := json.Unmarshal(text, &w); err != nil || len(text) > maxWritten || w.Format != 1 || w.Devices == nil {
		return nil, fmt.Errorf("%s is not as cardwright wrote it: remove it; then file and ledger are compared without it", path)
	}
	if w.Vessel != nil {
		w.Devices[known.Whole] = w.Vessel
	}
	return w.Devices, nil
}

// KeepWritten remembers values that cardwright wrote into a vessel's file; vessel
// is as the file has it now.
func KeepWritten(shop *manifest.Shop, vessel *manifest.Vessel, wrote known.Written) error {
	if len(wrote) == 0 {
		return nil
	}
	all, err := LastWritten(shop, vessel)
	if err != nil {
		all = nil // it is made anew
	}
	if all == nil { // nobody knows who put in what is there already
		all = known.Written{}
		for _, d := range vessel.Devices {
			all[d.ID] = map[string]string{known.AboardKey: d.ID}
		}
	}
	for device, values := range wrote {
		if values == nil {
			delete(all, device)
			continue
		}
		if all[device] == nil {
			all[device] = map[string]string{}
		}
		if device != known.Whole {
			all[device][known.AboardKey] = device
		}
		for key, value := range values {
			all[device][key] = value
		}
	}
	whole := all[known.Whole]
	delete(all, known.Whole)
	text, err := json.Marshal(writtenFile{1, all, whole})
	if err != nil {
		return err
	}
	path := writtenPath(shop, vessel.ID)
	if err := durable.MakeFolders(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("remembering what was written: %w", err)
	}
	if err := durable.Write(path, 0o666, bytes.NewReader(append(text, '\n'))); err != nil {
		return fmt.Errorf("remembering what was written: %w", err)
	}
	return nil
}

// KeepAgreed remembers what a vessel's file and the ledger have alike and nobody
// remembered yet, as of a shop of an earlier build. From then on a person's changes can
// be separated from newer events.
func KeepAgreed(shop *manifest.Shop, k *known.Joined) error {
	wrote, err := LastWritten(shop, k.File)
	if err != nil {
		return err
	}
	return KeepWritten(shop, k.File, k.Agreed(wrote))
}

// AllWritten are all values of a vessel's file.
func AllWritten(vessel *manifest.Vessel) known.Written {
	w := known.Written{known.Whole: known.FileWords(vessel)}
	for _, d := range vessel.Devices {
		w[d.ID] = known.FileValues(d)
	}
	return w
}
