package record

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/manifest/edit"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Taken says why an id can't be a vessel's: another one has it, or had it.
type Taken struct {
	ID string
	By string // today's id of the other
}

func (e *Taken) Error() string {
	if e.By == e.ID {
		return fmt.Sprintf("there is a vessel %s already", e.ID)
	}
	return fmt.Sprintf("%s was the id of %s before, and her cards and her history still use it", e.ID, e.By)
}

// MayBeCalled reports whether a vessel may have an id: nobody else has it or had it,
// by the files and by the ledger, which knows the vessels in ledgerHas. The error is
// *Taken. vessel is "" for one that isn't there yet.
func MayBeCalled(shop *manifest.Shop, names known.Names, ledgerHas func(id string) bool, vessel, id string) error {
	if v := shop.VesselOnce(id); v != nil && v.ID != vessel {
		return &Taken{id, v.ID}
	}
	hers := vessel != "" && slices.Contains(names.All(vessel), id)
	if now := names.Now(id); !hers && (now != id || vessel != "" && ledgerHas(id)) {
		return &Taken{id, now}
	}
	return nil
}

// Renaming makes the entry for another id, another name, or both; "" where that
// stays.
func Renaming(v *manifest.Vessel, id, name string) ledger.Entry {
	c := ledger.VesselChange{Was: &ledger.Called{ID: v.ID, Name: v.Name}}
	if id != v.ID {
		c.ID = id
	}
	if name != v.Name {
		c.Name = name
	}
	return ledger.Entry{Kind: ledger.VesselRenamed, Vessel: v.ID, Berth: v.Berth, VesselChange: &c}
}

// Noting makes the entries of a kind that has no details.
func Noting(kind ledger.Kind) func(*manifest.Shop, *manifest.Vessel) (ledger.Entry, error) {
	return func(_ *manifest.Shop, v *manifest.Vessel) (ledger.Entry, error) {
		return ledger.Entry{Kind: kind, Vessel: v.ID, Berth: v.Berth, VesselChange: &ledger.VesselChange{}}, nil
	}
}

// Rename gives a vessel another id or name in her file, "" where that stays, and
// names the file; "" where nothing changed. The file is changed in one step, and all
// that uses the id follows: until it has, it is found by the ids that she had.
func Rename(shop *manifest.Shop, v *manifest.Vessel, id, name string) (string, error) {
	id = cmp.Or(id, v.ID)
	return rename(shop, v, id, name, formerly(v, id))
}

// rename is Rename that leaves these earlier ids in the file.
func rename(shop *manifest.Shop, v *manifest.Vessel, id, name string, was []string) (string, error) {
	file, now, err := edit.OpenFor(shop.Dir, v)
	if err != nil {
		return "", err
	}
	if v = now.Vessel(v.ID); v == nil {
		return "", &edit.Changed{Path: file.Name()}
	}
	if name != "" && name != v.Name {
		if err := file.Set(edit.Way{"name"}, name, edit.VesselKeys); err != nil {
			return "", err
		}
	}
	if id != v.ID {
		if err := setID(file, v, id, was); err != nil {
			return "", err
		}
	}
	changed := file.Differs()
	if changed {
		if err := edit.Save(shop.Dir, file); err != nil {
			return "", err
		}
	}
	before := slices.DeleteFunc(append([]string{v.ID}, v.Formerly...), func(old string) bool { return old == id })
	moved, err := moveVesselFile(shop, file.Name(), before, id)
	if err != nil {
		return "", err
	}
	for _, old := range before {
		if err := moveWritten(shop, old, id); err != nil {
			return "", err
		}
	}
	if name != "" {
		will := v.Under(id)
		will.Formerly = was
		if err := KeepWritten(shop, will, known.Written{known.Whole: {known.NameKey: name}}); err != nil {
			return "", err
		}
	}
	if !changed && moved == file.Name() {
		return "", nil
	}
	return moved, nil
}

// goneFolder keeps the files of vessels that are gone. What begins with a dot is no
// part of a shop.
const goneFolder = ".gone"

// AsideFolder holds them, relative to the shop folder.
const AsideFolder = manifest.VesselsFolder + "/" + goneFolder

// Aside are the ids of the vessels whose files were set aside.
func Aside(shop *manifest.Shop) (ids []string, err error) {
	entries, err := os.ReadDir(filepath.Join(shop.Dir, filepath.FromSlash(AsideFolder)))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	for _, e := range entries {
		if id, is := strings.CutSuffix(e.Name(), ".yaml"); is && manifest.Problem("Vessel.vessel", id) == nil {
			ids = append(ids, id)
		}
	}
	return ids, err
}

func goneFile(shop *manifest.Shop, id string) string {
	return filepath.Join(shop.Dir, manifest.VesselsFolder, goneFolder, id+".yaml")
}

// SetAside moves the file of a vessel that is gone out of the shop's vessels, and
// names the file that it was.
func SetAside(shop *manifest.Shop, v *manifest.Vessel) (string, error) {
	name, to := edit.NameOf(v.At("")), goneFile(shop, v.ID)
	if err := durable.MakeFolders(filepath.Dir(to), 0o755); err != nil {
		return "", err
	}
	return name, durable.RenameNew(filepath.Join(shop.Dir, filepath.FromSlash(name)), to)
}

// BringBack puts the file of a vessel back that was set aside, and names it; "" where
// none was, or she has a file.
func BringBack(shop *manifest.Shop, id string) (string, error) {
	from, name := goneFile(shop, id), manifest.VesselsFolder+"/"+id+".yaml"
	if _, err := os.Stat(from); err != nil || shop.Vessel(id) != nil {
		return "", nil // another laptop's
	}
	return name, durable.RenameNew(from, filepath.Join(shop.Dir, filepath.FromSlash(name)))
}

// FollowVessel does with a vessel's file what became of her, and names the file; ""
// where it stays as it was.
func FollowVessel(shop *manifest.Shop, v *manifest.Vessel, e *ledger.Entry) (string, error) {
	switch e.Kind {
	case ledger.VesselRenamed:
		return Rename(shop, v, e.VesselChange.ID, e.VesselChange.Name)
	case ledger.VesselGone:
		return SetAside(shop, v)
	}
	return "", nil
}

// FollowWhole gives a vessel the id that the ledger has, or sets her file aside where
// she is gone, as the differences say, and names the file; "" where they don't.
func FollowWhole(shop *manifest.Shop, v *manifest.Vessel, differs []known.FileDiffers) (name string, err error) {
	for _, x := range differs {
		switch x.Key {
		case known.IDKey:
			if name, err = Rename(shop, v, x.Ledger, ""); err != nil {
				return "", err
			}
		case known.ServedKey:
			if slices.ContainsFunc(differs, func(o known.FileDiffers) bool { return o.Key == known.IDKey }) {
				return name, nil // next time
			}
			if name, err = SetAside(shop, v); err != nil {
				return "", err
			}
		}
	}
	return name, nil
}

// UndoneVessel takes back in a vessel's file what became of her, and names the file; ""
// where it says something else by now.
func UndoneVessel(shop *manifest.Shop, e *ledger.Entry) (string, error) {
	if e.Kind == ledger.VesselGone {
		return BringBack(shop, e.Vessel)
	}
	c := e.VesselChange
	v := shop.VesselOnce(cmp.Or(c.ID, e.Vessel))
	if v == nil || c.Was == nil {
		return "", nil
	}
	id, name := v.ID, ""
	if c.Name == v.Name {
		name = c.Was.Name
	}
	if c.ID == v.ID {
		id = c.Was.ID
	}
	was := slices.DeleteFunc(slices.Clone(v.Formerly), func(old string) bool { return old == id })
	return rename(shop, v, id, name, was)
}

// formerly are the ids that a vessel had before another, the last first.
func formerly(v *manifest.Vessel, id string) []string {
	list := slices.Clone(v.Formerly)
	if v.ID != id {
		list = append([]string{v.ID}, list...)
	}
	return slices.DeleteFunc(list, func(old string) bool { return old == id })
}

func setID(file *edit.File, v *manifest.Vessel, id string, was []string) error {
	if err := file.Set(edit.Way{"vessel"}, id, edit.VesselKeys); err != nil {
		return err
	}
	if len(v.Formerly) > 0 {
		if err := file.Delete(edit.Way{"formerly"}); err != nil {
			return err
		}
	}
	list := edit.List{}
	for _, old := range was {
		list = append(list, old)
	}
	switch len(list) {
	case 0:
		return nil
	case 1:
		return file.Set(edit.Way{"formerly"}, list[0], edit.VesselKeys)
	}
	return file.Set(edit.Way{"formerly"}, list, edit.VesselKeys)
}

// moveVesselFile gives a file that is named for an id that the vessel had the name of
// the new one, and says what it is called then.
func moveVesselFile(shop *manifest.Shop, name string, was []string, id string) (string, error) {
	to := path.Join(path.Dir(name), id+".yaml")
	if to == name || !slices.Contains(was, path.Base(name[:len(name)-len(path.Ext(name))])) {
		return name, nil
	}
	err := durable.RenameNew(filepath.Join(shop.Dir, filepath.FromSlash(name)), filepath.Join(shop.Dir, filepath.FromSlash(to)))
	if errors.Is(err, fs.ErrExist) {
		return name, nil // its name says little: its contents count
	}
	return to, err
}

// moveWritten puts what was last written under another id; what is there already
// is newer.
func moveWritten(shop *manifest.Shop, from, to string) error {
	err := durable.RenameNew(writtenPath(shop, from), writtenPath(shop, to))
	if errors.Is(err, fs.ErrExist) {
		err = os.Remove(writtenPath(shop, from))
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
