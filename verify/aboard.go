package verify

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// vessel is the vessel that was named, or nil.
func (j *judging) vessel() *manifest.Vessel {
	if j.expected == nil || j.expected.Aboard == nil {
		return nil
	}
	return j.expected.Aboard.Vessel
}

// elsewhere finds the files of steps that stand whole in a folder of another
// name, on a card that somebody else made: where the folder is chosen on the
// device's screen, that is no fault.
func (j *judging) elsewhere() {
	if j.vessel() == nil {
		return
	}
	for _, s := range j.expected.Aboard.Plan.Steps {
		if s.Card != j.expected.Aboard.Card || !j.anyFolder(s) || !j.allAbsent(s) {
			continue
		}
		if folder, ok := j.folderWith(s); ok {
			j.take(s, folder)
		}
	}
}

// anyFolder tells whether a step's folder is chosen on the device's screen.
func (j *judging) anyFolder(s order.Step) bool {
	id := s.Device
	if s.Through != "" {
		id = s.Through
	}
	device := j.vessel().Device(id)
	if device == nil {
		return false
	}
	model := j.expected.Aboard.Shop.Model(device.Model)
	return model != nil && model.Card != nil && model.Card.Folder == manifest.AnyFolder
}

func (j *judging) allAbsent(s order.Step) bool {
	for _, f := range s.Files {
		if !slices.ContainsFunc(j.absent, func(a media.RecordFile) bool { return key(a.Path) == key(below(s.Folder, f.Name)) }) {
			return false
		}
	}
	return len(s.Files) > 0
}

func below(folder, name string) string {
	if folder == "" {
		return name
	}
	return folder + "/" + name
}

// above is the folder in which a path has as many parts as a name.
func above(path, name string) string {
	for range strings.Count(name, "/") + 1 {
		path = parentOf(path)
	}
	return path
}

// folderWith is a folder that has all files of a step, right and whole.
func (j *judging) folderWith(s order.Step) (string, bool) {
	for _, e := range j.files {
		if e.dir || j.digests[e.path] != s.Files[0].SHA256 || isClutter(e.path) || strings.HasPrefix(e.path, ".") || strings.Contains(e.path, "/.") || samename.Within(e.path, media.RecordFolder) {
			continue // thrown away, hidden by its name, or where only the record may be
		}
		folder := above(e.path, s.Files[0].Name)
		if samename.ButCase(e.path, below(folder, s.Files[0].Name)) && j.hasAll(folder, s.Files) {
			return folder, true
		}
	}
	return "", false
}

func (j *judging) hasAll(folder string, files []order.File) bool {
	for _, f := range files {
		e, ok := j.at(below(folder, f.Name))
		if !ok || j.digests[e.path] != f.SHA256 {
			return false
		}
	}
	return true
}

// take counts the files of a step as there, in another folder.
func (j *judging) take(s order.Step, folder string) {
	for _, f := range s.Files {
		want := key(below(s.Folder, f.Name))
		e, _ := j.at(below(folder, f.Name))
		j.placed[e.path] = true
		j.moved[want] = e.path
		j.report.Counts["files_matching"]++
		j.absent = slices.DeleteFunc(j.absent, func(a media.RecordFile) bool { return key(a.Path) == want })
	}
	j.report.add(Finding{
		Kind: MovedFolder, Severity: Warn, Path: below(folder, path.Base(s.Files[0].Name)),
		Expected: "/" + s.Folder, Found: "/" + folder,
		Meaning: fmt.Sprintf("The files for step %d (%s) are whole, in a folder of another name.", s.Number, s.Device),
		Advice:  "Choose this folder on the device's screen; the install order written now names it.",
	})
}

// fileOf is what stands where a step's file should, or where it was found.
func (j *judging) fileOf(s order.Step, f order.File) (file, bool) {
	want := below(s.Folder, f.Name)
	if at, ok := j.moved[key(want)]; ok {
		want = at
	}
	return j.at(want)
}

// folderOf is where a step's files are on this card.
func (j *judging) folderOf(s order.Step) string {
	for _, f := range s.Files {
		if at, ok := j.moved[key(below(s.Folder, f.Name))]; ok {
			return above(at, f.Name)
		}
	}
	return s.Folder
}

// steps tells which steps of the plan the card can do.
func (j *judging) steps() {
	if j.vessel() == nil {
		return
	}
	for _, s := range j.expected.Aboard.Plan.Steps {
		b := Bring{Step: s.Number, Device: s.Device, From: s.From, To: s.To, Card: s.Card, Folder: j.folderOf(s), Missing: []string{}}
		for _, f := range s.Files {
			if e, ok := j.fileOf(s, f); !ok || j.digests[e.path] != f.SHA256 {
				b.Missing = append(b.Missing, below(s.Folder, f.Name))
			}
		}
		b.Whole = len(b.Missing) == 0
		j.report.Brings = append(j.report.Brings, b)
	}
}

// someInstallAtPowerUp tells whether a device aboard would install from this
// card by itself.
func (j *judging) someInstallAtPowerUp() bool {
	if j.vessel() == nil {
		return false
	}
	return slices.ContainsFunc(j.vessel().Devices, func(d *manifest.Device) bool { return j.atPowerUpOf(d) != nil })
}

// atPowerUpOf is the device's model where it installs by itself, else nil.
func (j *judging) atPowerUpOf(d *manifest.Device) *manifest.Model {
	model := j.expected.Aboard.Shop.Model(d.Model)
	if model == nil || model.Card == nil || !model.Card.AtPowerUp {
		return nil
	}
	return model
}

// atPowerUp tells what would happen were a device that installs by itself
// powered up with this card in.
func (j *judging) atPowerUp() {
	if j.vessel() == nil {
		return
	}
	for _, d := range j.vessel().Devices {
		if model := j.atPowerUpOf(d); model != nil {
			j.wouldTake(d, model)
		}
	}
}

func (j *judging) wouldTake(d *manifest.Device, model *manifest.Model) {
	found := j.releasesAmong(model, j.files)
	if len(found) == 0 {
		return
	}
	if names, ok := oneOf(found); ok {
		j.report.add(Finding{
			Kind: WouldTake, Severity: Note, Found: fmt.Sprintf("%s (%s) would install %s", d.ID, d.Place, names),
			Meaning: "It installs by itself when it is powered up with this card in.",
			Advice:  "Keep the card out of it until its step comes.",
		})
		return
	}
	j.report.add(Finding{
		Kind: TwoPackages, Severity: Stop, Expected: "one release of " + model.ID, Found: strings.Join(releaseNames(found), ", "),
		Meaning: fmt.Sprintf("%s (%s) installs by itself when it is powered up, and which of these it takes is not known.", d.ID, d.Place),
		Advice:  "Do not put this card into it. Prepare cards of your own: each holds one of them.",
	})
}

// superseded tells of a signed card whose plan isn't today's: an older card of
// the vessel, which is right by its own record and may be out of date.
func (j *judging) superseded(found *media.Record) {
	if found == nil || !j.fromRecord() || j.expected == nil || j.expected.Aboard == nil || !j.vouched() {
		return
	}
	vessel := j.expected.Aboard.Shop.Vessel(found.Vessel)
	if vessel == nil {
		return
	}
	plan, err := order.Make(j.expected.Aboard.Shop, vessel)
	if err != nil || plan.ID() == found.Plan {
		return
	}
	j.report.add(Finding{
		Kind: Superseded, Severity: Warn, Path: media.RecordPath,
		Expected: "plan " + plan.ID() + ", today's for " + found.VesselName, Found: "plan " + found.Plan,
		Meaning: "The card was made for an earlier plan: the vessel's devices or the catalogue have changed since.",
		Advice:  "Verify it with --for " + found.Vessel + ", or prepare a new card.",
	})
}

// fits tells for which vessels of the shop the card would do, where none was
// named.
func (j *judging) fits() {
	if j.expected == nil || j.expected.Aboard == nil || j.vessel() != nil {
		return
	}
	have := map[string]bool{}
	for _, d := range j.digests {
		have[d] = true
	}
	for _, v := range j.expected.Aboard.Shop.Vessels {
		plan, err := order.Make(j.expected.Aboard.Shop, v)
		if err != nil || plan.Conflict != nil {
			continue // such a vessel's own plan says why
		}
		whole := 0
		for _, s := range plan.Steps {
			if !slices.ContainsFunc(s.Files, func(f order.File) bool { return !have[f.SHA256] }) {
				whole++
			}
		}
		if whole > 0 {
			j.report.add(Finding{
				Kind: FitsVessel, Severity: Note, Path: "", Expected: "",
				Found:   fmt.Sprintf("the files for %d of the %d steps of %s (%s)", whole, len(plan.Steps), v.Name, v.ID),
				Meaning: "By content; verify with --for " + v.ID + " to judge the card for it.",
			})
		}
	}
}
