// Package readiness finds what is left to do before a shop can serve its
// vessels, the most urgent first: plans, cards and packages that are missing,
// withdrawn releases aboard, a catalogue that nobody keeps. It reads no package:
// intake has done that.
package readiness

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/intake"
)

// Urgency is when something has to be done.
type Urgency string

// The urgencies, from most to least.
const (
	Today Urgency = "before today's visits"
	Soon  Urgency = "before the next visit"
	Tidy  Urgency = "when there is time"
)

// Urgencies is the closed list of them, in their order.
var Urgencies = []Urgency{Today, Soon, Tidy}

// What tasks ask to have done. %s in the words for one is what the comment
// names.
const (
	PlanIt        problem.Act = "the vessel's plan"                  // the vessel's id
	SurveyIt      problem.Act = "a survey"                           // the vessel's id
	FetchList     problem.Act = "the list of what to download"       // the vessel's id
	TakeInAs      problem.Act = "take its file in"                   // model, version
	TakeInVariant problem.Act = "take its file in, for this variant" // model, version, variant quoted for a shell
)

// Acts is the closed list of them.
var Acts = []problem.Act{PlanIt, SurveyIt, FetchList, TakeInAs, TakeInVariant}

// Task is one thing to do.
type Task struct {
	Urgency Urgency      `json:"urgency"`
	Vessel  string       `json:"vessel,omitempty"` // whom it is for; "" for the shop itself
	Fact    string       `json:"fact"`
	At      manifest.Pos `json:"at"`
	Do      string       `json:"do"`
	Stops   bool         `json:"stops"` // the vessel can't be served before it is done
}

// Readiness is what is left to do, and which vessels can be served.
type Readiness struct {
	Today  []string `json:"today"`  // ids of the vessels on today's list
	Unfit  []string `json:"unfit"`  // those of all vessels that can't be served
	Unread bool     `json:"unread"` // packages were looked for and not read
	Tasks  []Task   `json:"tasks"`  // from most to least urgent
}

// Served reports whether every vessel on today's list can be served.
func (r Readiness) Served() bool {
	return !slices.ContainsFunc(r.Today, func(id string) bool { return slices.Contains(r.Unfit, id) })
}

// finder collects what is left to do.
type finder struct {
	Readiness
	shop  *manifest.Shop
	inv   intake.Inventory
	words problem.Words
}

// Of finds everything that keeps a shop from serving its vessels: whether each
// vessel has a plan, and cards that it fits on; whether the packages of that plan
// are there and intact, by inv; which withdrawn releases are still aboard; and which
// catalogue files have been left alone for longer than age. today are the vessels
// to be served first; none means all. words are what tasks call Acts.
func Of(shop *manifest.Shop, today []*manifest.Vessel, inv intake.Inventory, now time.Time, age time.Duration, words problem.Words) Readiness {
	r := &finder{shop: shop, inv: inv, words: words}
	if len(today) == 0 {
		today = shop.Vessels
	}
	r.Readiness.Today, r.Unfit, r.Tasks = []string{}, []string{}, []Task{}
	for _, v := range today {
		r.Readiness.Today = append(r.Readiness.Today, v.ID)
	}
	for _, v := range shop.Vessels {
		r.vessel(v)
	}
	r.packages()
	r.catalogue(now, age)
	slices.SortStableFunc(r.Tasks, func(a, b Task) int {
		return cmp.Or(cmp.Compare(slices.Index(Urgencies, a.Urgency), slices.Index(Urgencies, b.Urgency)), trueFirst(a.Stops, b.Stops))
	})
	return r.Readiness
}

func trueFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}

// forVessel is how urgent a task for a vessel is.
func (r *finder) forVessel(id string) Urgency {
	if slices.Contains(r.Readiness.Today, id) {
		return Today
	}
	return Soon
}

func (r *finder) add(v *manifest.Vessel, stops bool, fact string, at manifest.Pos, do string) {
	r.Tasks = append(r.Tasks, Task{r.forVessel(v.ID), v.ID, fact, at, do, stops})
	if stops && !slices.Contains(r.Unfit, v.ID) {
		r.Unfit = append(r.Unfit, v.ID)
	}
}

func (r *finder) vessel(v *manifest.Vessel) {
	r.withdrawn(v)
	plan, err := order.Make(r.shop, v)
	var unread *order.Unread
	switch {
	case errors.As(err, &unread):
		r.leftOut(v, plan)
	case err != nil:
		r.add(v, true, "no plan: "+err.Error(), v.At(""), r.words.For(PlanIt, v.ID))
	default:
		r.leftOut(v, plan)
		if plan.Conflict == nil {
			r.planned(v, plan)
		}
	}
}

// leftOut reports what a plan leaves out.
func (r *finder) leftOut(v *manifest.Vessel, plan order.Plan) {
	for _, d := range plan.Unknown {
		r.add(v, true, "what "+d.Device+" runs is unknown", d.At, "read its version and write it there: "+r.words.For(SurveyIt, v.ID))
	}
	for _, l := range plan.LeftOut {
		switch {
		case l.Conflict != nil:
			at := v.At("")
			if len(l.Conflict.Because) > 0 {
				at = l.Conflict.Because[0].At
			}
			r.add(v, true, "no safe order: "+facts(l.Conflict), at, "see what would free it: "+r.words.For(PlanIt, v.ID))
		case l.GaveUp != "":
			r.add(v, true, "no plan for "+strings.Join(l.Devices, ", ")+": "+l.GaveUp, v.At(""), r.words.For(PlanIt, v.ID))
		}
	}
}

// mostFacts is how many facts of a conflict a task repeats.
const mostFacts = 2

func facts(c *order.Conflict) string {
	var all []string
	for _, f := range c.Because[:min(len(c.Because), mostFacts)] {
		all = append(all, f.Fact)
	}
	if more := len(c.Because) - mostFacts; more > 0 {
		all = append(all, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(all, "; ")
}

// planned reports what is missing for a plan: cards and packages.
func (r *finder) planned(v *manifest.Vessel, plan order.Plan) {
	if _, _, err := media.Lay(r.shop, v, plan); err != nil {
		r.add(v, true, "no card for its plan: "+err.Error(), v.At(""), r.words.For(PlanIt, v.ID))
	}
	r.noRoute(v)
	for _, step := range plan.Steps {
		if len(step.Files) == 0 && step.Route != manifest.ByMaker {
			r.noFile(v, step)
		}
	}
	for _, c := range r.inv.Files {
		if !slices.Contains(c.NeededBy, v.ID) {
			continue
		}
		name := fmt.Sprintf("package %s of %s %s", c.Name, c.Model, c.Version)
		at := manifest.Pos{File: c.Path}
		switch c.State {
		case intake.Missing:
			r.add(v, true, name+" is missing", at, "download it: "+r.words.For(FetchList, v.ID))
		case intake.Differs:
			r.add(v, true, name+" is not what the catalogue says", at, c.Advice)
		case intake.Unreadable:
			r.add(v, true, name+" can't be read: "+c.Found, at, c.Advice)
		case intake.Present:
			r.Unread = true
		}
	}
}

// noRoute reports devices that have newer releases and no known way of getting
// them.
func (r *finder) noRoute(v *manifest.Vessel) {
	for _, d := range v.Devices {
		m := r.shop.Model(d.Model)
		if m.Card != nil || m.Route != "" || len(d.Through) > 0 || d.Version == version.Unknown {
			continue
		}
		newer := func(s *manifest.Release) bool {
			return s.Variant == d.Variant && s.Withdrawn == "" && version.Compare(s.Version, d.Version) > 0
		}
		if slices.ContainsFunc(m.Releases, newer) {
			r.add(v, false, d.ID+", a "+m.ID+", has no card slot, and nothing says how else it is updated", d.At("model"),
				"say in the vessel's file which device passes updates on to it (through), or in the model's file how it is updated (route): "+strings.Join(manifest.Routes, ", "))
		}
	}
}

// noFile reports a step whose package nobody has taken in.
func (r *finder) noFile(v *manifest.Vessel, step order.Step) {
	do := r.words.For(TakeInAs, step.Model, step.To)
	variant := v.Device(step.Device).Variant
	if variant != "" {
		do = r.words.For(TakeInVariant, step.Model, step.To, media.ShellWord(variant))
	}
	release := r.shop.Model(step.Model).Release(step.To, variant)
	r.add(v, true, intake.NoFile(step), release.At("version"), do)
}

// withdrawn reports releases aboard that their maker has withdrawn.
func (r *finder) withdrawn(v *manifest.Vessel) {
	for _, d := range v.Devices {
		m := r.shop.Model(d.Model)
		if m == nil || d.Version == version.Unknown {
			continue
		}
		switch rel := m.Release(d.Version, d.Variant); {
		case rel == nil && isNewest(m, d):
			r.Tasks = append(r.Tasks, Task{Tidy, v.ID, fmt.Sprintf("%s runs %s %s, newer than every release in the catalogue", d.ID, m.ID, d.Version), d.At("version"), "read the version again, or add its release", false})
		case rel != nil && rel.Withdrawn != "":
			r.add(v, false, fmt.Sprintf("%s runs %s %s, which was withdrawn: %s", d.ID, m.ID, d.Version, rel.Withdrawn), d.At("version"), "tell the customer, and see "+r.words.For(PlanIt, v.ID))
		}
	}
}

// isNewest reports whether a device runs something newer than all its releases: the
// catalogue is behind, or somebody misread.
func isNewest(m *manifest.Model, d *manifest.Device) bool {
	found := false
	for _, r := range m.Releases {
		if r.Variant != d.Variant {
			continue
		}
		if found = true; version.Compare(d.Version, r.Version) <= 0 {
			return false
		}
	}
	return found
}

// packages reports files that no plan needs.
func (r *finder) packages() {
	for _, c := range r.inv.Files {
		if len(c.NeededBy) > 0 {
			continue
		}
		urgency, do := Tidy, c.Advice
		switch c.State {
		case intake.Differs, intake.Unreadable:
			urgency = Soon
		case intake.Unknown:
		case intake.Unused:
			do = "keep it as long as it may be asked for, then delete it"
		default: // one that is missing and that nobody needs is no work
			continue
		}
		fact := stateFacts[c.State]
		if c.State == intake.Unknown && c.Found != "" {
			fact += ": " + c.Found
		}
		r.Tasks = append(r.Tasks, Task{urgency, "", fact, manifest.Pos{File: c.Path}, do, false})
	}
}

var stateFacts = map[intake.State]string{
	intake.Differs: "a package is not what the catalogue says", intake.Unreadable: "a package can't be read",
	intake.Unknown: "a file that isn't in the catalogue", intake.Unused: "a package that no vessel can use",
}

// catalogue reports files that nobody has touched for long, while makers may have
// published more.
func (r *finder) catalogue(now time.Time, age time.Duration) {
	for _, m := range r.shop.Models {
		at := manifest.Pos{File: m.At("").File}
		info, err := os.Stat(filepath.Join(r.shop.Dir, filepath.FromSlash(at.File)))
		if err != nil {
			r.Tasks = append(r.Tasks, Task{Tidy, "", "its age is unknown: " + err.Error(), at, "check that the file can be read", false})
			continue
		}
		if old := now.Sub(info.ModTime()); old > age {
			r.Tasks = append(r.Tasks, Task{
				Tidy, "", fmt.Sprintf("it has not changed for %d days", int(old.Hours()/24)), at,
				"see what " + m.Maker + " has published since, then save the file again", false,
			})
		}
	}
}
