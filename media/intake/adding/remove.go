package adding

import (
	"fmt"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/intake"
)

// Removed is one file that was taken out of the catalogue.
type Removed struct {
	Model   string        `json:"model"`
	Version version.V     `json:"version"`
	Variant string        `json:"variant,omitempty"`
	Name    string        `json:"name"`
	SHA256  digest.SHA256 `json:"sha256"`
	Path    string        `json:"path"` // from which it was taken; "" where it wasn't there, or is another release's, too
}

// Remove takes a file of a release, or the whole release, out of the catalogue, then
// out of the package folder. stays says that the release stays in the catalogue
// without any file.
func Remove(in Shop, said Said, whole bool) (removed []Removed, stays bool, err error) {
	shop, err := in.Load()
	if err != nil {
		return nil, false, err
	}
	m, r, files, err := said.toRemove(in, shop, whole)
	if err != nil {
		return nil, false, err
	}
	file, err := edit.Open(shop.Dir, edit.NameOf(m.At("")))
	if err != nil {
		return nil, false, err
	}
	past := edit.Past{Until: in.Today.Format(time.DateOnly), Why: said.Why}
	if whole {
		err = edit.RemoveRelease(file, m, r, past)
	} else {
		err = edit.RemoveFile(file, m, files[0], past)
	}
	if err != nil {
		return nil, false, err
	}
	if err := edit.Save(shop.Dir, file); err != nil {
		return nil, false, err
	}
	now, err := in.Load()
	if err != nil {
		return nil, false, err
	}
	for _, f := range files {
		path, err := intake.Discard(now, media.SourceOf(m, r, f))
		if err != nil {
			return nil, false, fmt.Errorf("the catalogue doesn't have %s any more, and its file is still there: %w", f.Name, err)
		}
		removed = append(removed, Removed{m.ID, r.Version, r.Variant, f.Name, f.SHA256, path})
	}
	return removed, !whole && len(files) == len(r.Files), nil
}

// toRemove finds what is to be taken out.
func (s *Said) toRemove(in Shop, shop *manifest.Shop, whole bool) (*manifest.Model, *manifest.Release, []*manifest.File, error) {
	m := shop.Model(s.Model)
	if m == nil {
		return nil, nil, nil, badSaid("no model %q in the catalogue%s", s.Model, tryIt(manifest.Nearest(s.Model, shop.ModelIDs())))
	}
	r := m.Release(s.Version, s.Variant)
	if r == nil {
		variant := ""
		if s.Variant != "" {
			variant = " of variant " + s.Variant
		}
		return nil, nil, nil, badSaid("the catalogue has no %s %s%s", m.ID, s.Version, variant)
	}
	if whole {
		return m, r, r.Files, nil
	}
	var names []string
	for _, f := range r.Files {
		if f.Name == s.Old || s.Old == "" && len(r.Files) == 1 {
			return m, r, []*manifest.File{f}, nil
		}
		names = append(names, f.Name)
	}
	if len(names) == 0 {
		return nil, nil, nil, badSaid("%s %s has no file in the catalogue; %s takes the release out", m.ID, r.Version, in.Words.For(WholeRelease))
	}
	return nil, nil, nil, badSaid("say with %s which of %s%s", in.Words.For(intake.NameOld), strings.Join(names, ", "), tryIt(manifest.Nearest(s.Old, names)))
}
