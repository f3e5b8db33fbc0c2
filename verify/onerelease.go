package verify

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// place is a folder in which a device looks for one release of a model.
type place struct {
	folder  string
	model   *manifest.Model
	release *manifest.Release
}

// oneRelease tells of folders in which a device would find more than the one
// release that its step is for: it may take the newest of them, and leave out a
// step that has to come first. What counts is what the folder holds, not how it
// came there, and folders within it count as well.
func (j *judging) oneRelease() {
	told := map[string]bool{}
	for _, p := range j.places() {
		var inside []file
		for _, e := range j.files {
			if samename.Within(e.path, p.folder) && !j.belongsTo(e, p.release) {
				inside = append(inside, e)
			}
		}
		others, here := j.releasesAmong(p.model, inside), p.model.ID+" "+samename.Key(p.folder)
		if len(others) == 0 || told[here] {
			continue
		}
		told[here] = true
		j.report.add(Finding{
			Kind: TwoPackages, Severity: Stop, Path: p.folder, Expected: "one release in a folder",
			Found:   fmt.Sprintf("%s for %s in /%s", strings.Join(releaseNames(append(others, []*manifest.Release{p.release})), " and "), p.model.ID, p.folder),
			Meaning: "Which of them the device takes from this folder is not known; one has to be installed before the other, or not at all.",
			Advice:  "Put each into a folder of its own, or prepare a card of your own: " + j.report.repair(),
		})
	}
}

// places are the folders of the steps that this card is for; without a vessel,
// those of the releases that the record lists.
func (j *judging) places() (all []place) {
	if j.vessel() == nil {
		return j.placesOfRecord()
	}
	for _, s := range j.expected.Aboard.Plan.Steps {
		device := j.vessel().Device(s.Device)
		if s.Card != j.expected.Aboard.Card || device == nil || len(s.Files) == 0 {
			continue
		}
		model := j.expected.Aboard.Shop.Model(device.Model)
		if model == nil {
			continue
		}
		if release := model.Release(s.To, device.Variant); release != nil {
			all = append(all, place{j.folderOf(s), model, release})
		}
	}
	return all
}

func (j *judging) placesOfRecord() (all []place) {
	for _, w := range j.sortedWanted() {
		for _, r := range j.known[w.SHA256] {
			folder, ok := strings.CutSuffix(w.Path, r.name)
			p := place{strings.TrimSuffix(folder, "/"), r.model, r.of}
			if ok && w.Size > 0 && !slices.Contains(all, p) {
				all = append(all, p)
			}
		}
	}
	return all
}

// belongsTo tells whether a file is one of a release's.
func (j *judging) belongsTo(e file, of *manifest.Release) bool {
	return slices.ContainsFunc(j.known[j.digests[e.path]], func(r release) bool { return r.of == of })
}

// releasesAmong are the releases of a model that files belong to, of each file
// all that it may belong to. Files without content belong to none.
func (j *judging) releasesAmong(model *manifest.Model, files []file) (found [][]*manifest.Release) {
	for _, e := range files {
		var its []*manifest.Release
		for _, r := range j.known[j.digests[e.path]] {
			if r.model == model && e.size > 0 && !slices.Contains(its, r.of) {
				its = append(its, r.of)
			}
		}
		if len(its) > 0 {
			found = append(found, its)
		}
	}
	return found
}

// oneOf tells whether all files may belong to one release, and which.
func oneOf(found [][]*manifest.Release) (version string, ok bool) {
	for _, r := range found[0] {
		if !slices.ContainsFunc(found, func(its []*manifest.Release) bool { return !slices.Contains(its, r) }) {
			return string(r.Version), true
		}
	}
	return "", false
}

// releaseNames are the versions of releases in the order of text, with the
// variant where that is all that tells them apart.
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

// outdatedOrder tells of an install order on the card that names folders which
// aren't there any more.
func (j *judging) outdatedOrder() {
	e, ok := j.at(media.InstallOrderPath)
	if !ok || e.dir || len(j.moved) == 0 {
		return
	}
	for _, s := range j.expected.Aboard.Plan.Steps {
		now := j.folderOf(s)
		if now == s.Folder {
			continue
		}
		j.report.add(Finding{
			Kind: OutdatedOrder, Severity: Warn, Path: e.path, Expected: "/" + now, Found: "/" + s.Folder,
			Meaning: "The order on this card, and its list of digests, name a folder that isn't there.",
			Advice:  "Go by the order that is written now: " + j.report.command("--order install-order.txt"),
		})
	}
}

// OrderOutdated tells that the install order on the card isn't to be gone by.
func (r Report) OrderOutdated() bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Kind == OutdatedOrder })
}
