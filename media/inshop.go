package media

import (
	"path/filepath"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// InShop are the files of a step that comes from no card, where they belong in the
// shop folder: with slashes, from that folder on.
func InShop(shop *manifest.Shop, vessel *manifest.Vessel, s order.Step) (paths []string) {
	m, d := shop.Model(s.Model), vessel.Device(s.Device)
	if m == nil || d == nil {
		return nil
	}
	r := m.Release(s.To, d.Variant)
	if r == nil {
		return nil
	}
	packages := Packages{Dir: shop.Packages}
	for _, f := range r.Files {
		paths = append(paths, filepath.ToSlash(packages.Place(Source{Model: m.ID, Version: r.Version, Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256})))
	}
	return paths
}
