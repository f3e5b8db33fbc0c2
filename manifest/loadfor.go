package manifest

import (
	"slices"
	"strings"
)

// LoadFor is LoadWith for work on one vessel, named as VesselsCalled takes it: mistakes in the files of others, and of
// models that none of its devices is of, don't stop it. They are returned with the
// shop (elsewhere), which is without the vessels and models that they are in. Mistakes
// in the vessel's own file, its models' files or shop.yaml, or that may be in any of
// these, are an error, together with all others. With vessel "" only mistakes outside
// the models' and vessels' files are.
func LoadFor(dir, vessel string, files map[string][]byte) (shop *Shop, elsewhere Mistakes, err error) {
	shop, ms, err := read(dir, files)
	if err != nil || len(ms) == 0 {
		return shop, nil, err
	}
	concerned, ok := shop.concerned(vessel)
	if !ok || slices.ContainsFunc(ms, func(m Mistake) bool { return m.concerns(concerned) }) {
		return nil, nil, ms
	}
	faulty := func(file string) bool {
		return slices.ContainsFunc(ms, func(m Mistake) bool { return m.At.File == file })
	}
	shop.Models = slices.DeleteFunc(shop.Models, func(m *Model) bool { return faulty(m.At("").File) })
	shop.Vessels = slices.DeleteFunc(shop.Vessels, func(v *Vessel) bool {
		return faulty(v.At("").File) || slices.ContainsFunc(v.Devices, func(d *Device) bool { return shop.Model(d.Model) == nil })
	})
	return shop, ms, nil
}

// concerned are the files of a vessel and its models; ok is false where one of these is
// missing or there twice.
func (s *Shop) concerned(vessel string) (files []string, ok bool) {
	if vessel == "" {
		return nil, true
	}
	called := s.VesselsCalled(vessel)
	if len(called) != 1 {
		return nil, false
	}
	files = append(files, called[0].At("").File)
	for _, d := range called[0].Devices {
		var of []string
		for _, m := range s.Models {
			if m.ID == d.Model {
				of = append(of, m.At("").File)
			}
		}
		if len(of) != 1 {
			return nil, false
		}
		files = append(files, of[0])
	}
	return files, true
}

// concerns reports whether a mistake is in one of these files, or in none of a model's
// or vessel's.
func (m Mistake) concerns(files []string) bool {
	name := strings.TrimPrefix(m.At.File, `"`)
	inFolder := strings.HasPrefix(name, CatalogueFolder+"/") || strings.HasPrefix(name, VesselsFolder+"/")
	return !inFolder || slices.Contains(files, m.At.File)
}
