package verify

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/samename"
)

// lookedIn is a folder in which a device looks for one release of a model.
type lookedIn struct {
	folder  string
	model   *manifest.Model
	release *manifest.Release
}

// judgeReleases reports folders in which a device would find more than the one
// release that its step is for: it may take the newest of them, and leave out a
// step that has to come first. What counts is what the folder holds, not how it
// came there, and folders within it count as well.
func judgeReleases(m matched, report func(Finding)) {
	told := map[string]bool{}
	for _, p := range whereDevicesLook(m) {
		var inside []*file
		for _, f := range m.card.files.all {
			if samename.Within(f.Path, p.folder) && !m.known.belongs(f, p.release) {
				inside = append(inside, f)
			}
		}
		others, here := m.known.releases(p.model, inside), p.model.ID+" "+samename.Key(p.folder)
		if len(others) == 0 || told[here] {
			continue
		}
		told[here] = true
		report(severalInFolder.at(p.folder, "one release in a folder", fmt.Sprintf("%s for %s in /%s",
			strings.Join(releaseNames(append(others, []*manifest.Release{p.release})), " and "), p.model.ID, p.folder)))
	}
}

// whereDevicesLook are the folders of the steps that this card is for; without a vessel,
// those of the releases that the record lists.
func whereDevicesLook(m matched) (all []lookedIn) {
	visit := m.expected.visit()
	if visit == nil {
		return whereListed(m)
	}
	for _, s := range visit.steps() {
		device := visit.Vessel.Device(s.Device)
		if device == nil || len(s.Files) == 0 {
			continue
		}
		model := visit.Shop.Model(device.Model)
		if model == nil {
			continue
		}
		if release := model.Release(s.To, device.Variant); release != nil {
			all = append(all, lookedIn{m.folderOf(s), model, release})
		}
	}
	return all
}

func whereListed(m matched) (all []lookedIn) {
	for _, w := range m.wanted {
		for _, p := range m.known.byDigest[w.SHA256] {
			folder, ok := strings.CutSuffix(w.Path, p.Path)
			in := lookedIn{strings.TrimSuffix(folder, "/"), p.model, p.of}
			if ok && w.Size > 0 && !slices.Contains(all, in) {
				all = append(all, in)
			}
		}
	}
	return all
}

// belongs reports whether a file is one of a release's.
func (c catalogue) belongs(f *file, to *manifest.Release) bool {
	return slices.ContainsFunc(c.of(f), func(p pkg) bool { return p.of == to })
}

// releases are those of a model that files belong to, of each file all that it
// may belong to. Files without content belong to none.
func (c catalogue) releases(model *manifest.Model, files []*file) (found [][]*manifest.Release) {
	for _, f := range files {
		var its []*manifest.Release
		for _, p := range c.of(f) {
			if p.model == model && f.Size > 0 && !slices.Contains(its, p.of) {
				its = append(its, p.of)
			}
		}
		if len(its) > 0 {
			found = append(found, its)
		}
	}
	return found
}

// oneOf reports whether all files may belong to one release, and which.
func oneOf(found [][]*manifest.Release) (version string, ok bool) {
	for _, r := range found[0] {
		if !slices.ContainsFunc(found, func(its []*manifest.Release) bool { return !slices.Contains(its, r) }) {
			return string(r.Version), true
		}
	}
	return "", false
}

// releaseNames are the versions of releases in the order of text, with the
// variant where nothing else distinguishes them.
func releaseNames(found [][]*manifest.Release) (names []string) {
	versions := map[string]*manifest.Release{}
	for _, r := range slices.Concat(found...) {
		name := string(r.Version)
		if other, ok := versions[name]; ok && other != r {
			name = fmt.Sprintf("%s (variant %q)", name, r.Variant)
		}
		versions[name] = r
		names = append(names, name)
	}
	slices.Sort(names)
	return slices.Compact(names)
}
