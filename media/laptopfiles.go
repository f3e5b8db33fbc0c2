package media

import (
	"path/filepath"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// InShop are the places in the shop folder of a step's files, where they come from
// no card: with slashes, below that folder.
func InShop(shop *manifest.Shop, vessel *manifest.Vessel, s order.Step) (paths []string) {
	packages := Packages{Dir: shop.Packages}
	for _, f := range releaseFiles(shop, vessel, s) {
		paths = append(paths, filepath.ToSlash(packages.Place(f)))
	}
	return paths
}

// NotInShop are the files that the shop's laptop needs for a step and that aren't
// at hand, by name and size; nothing of them is read.
func NotInShop(shop *manifest.Shop, vessel *manifest.Vessel, s order.Step) (missing []error) {
	if s.Route == "" || s.Route == manifest.ByMaker { // from a card; the maker brings his own
		return nil
	}
	packages := PackagesOf(shop)
	for _, f := range releaseFiles(shop, vessel, s) {
		if err := packages.There(f); err != nil {
			missing = append(missing, err)
		}
	}
	return missing
}

// releaseFiles are the files of the release that a step installs, as downloaded.
func releaseFiles(shop *manifest.Shop, vessel *manifest.Vessel, s order.Step) (files []Source) {
	m, d := shop.Model(s.Model), vessel.Device(s.Device)
	if m == nil || d == nil {
		return nil
	}
	r := m.Release(s.To, d.Variant)
	if r == nil {
		return nil
	}
	for _, f := range r.Files {
		files = append(files, SourceOf(m, r, f))
	}
	return files
}

// LaptopLack is a file that the shop's laptop needs for a step, and hasn't.
type LaptopLack struct {
	Step   int
	Device string
	Err    error // what was looked for, and where
}

// LaptopLacks are the files that the laptop lacks for a plan, in the order of its steps.
func LaptopLacks(shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan) (lacks []LaptopLack) {
	for _, s := range plan.Steps {
		for _, err := range NotInShop(shop, vessel, s) {
			lacks = append(lacks, LaptopLack{s.Number, s.Device, err})
		}
	}
	return lacks
}
