package manifest

import (
	"fmt"
	"slices"

	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// checker finds what is wrong between keys and between files. What a mistake that is
// reported already would explain, it leaves out.
type checker struct {
	shop   *Shop
	found  *collector
	faulty map[string]bool // files with a mistake of their own

	models   map[string]*Model
	modelIDs []string
	nameless bool // some catalogue file has no id of its own that could be read
}

func (c *checker) mistake(at Pos, what, found, expected, hint string) {
	c.found.add(Mistake{At: at, What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
}

func (c *checker) check() {
	c.nameModels()
	checks := map[string]Pos{}
	for _, t := range c.shop.Checks {
		c.once(checks, t.Check, t.At("check"), "check")
	}
	for _, m := range c.shop.Models {
		c.model(m)
	}
	vessels := map[string]Pos{}
	for _, v := range c.shop.Vessels {
		c.once(vessels, v.ID, v.At("vessel"), "vessel")
		c.vessel(v)
	}
}

// nameModels finds the models by their ids.
func (c *checker) nameModels() {
	seen := map[string]Pos{}
	c.models = map[string]*Model{}
	for _, m := range c.shop.Models {
		if c.once(seen, m.ID, m.At("model"), "model") {
			c.models[m.ID] = m
			c.modelIDs = append(c.modelIDs, m.ID)
		} else {
			c.nameless = true
		}
	}
}

// once reports an id that was seen before.
func (c *checker) once(seen map[string]Pos, id string, at Pos, what string) bool {
	if id == "" {
		return false
	}
	if first, ok := seen[id]; ok {
		c.mistake(at, what+" given twice", quote(id)+" again", "each one once; the first is at "+first.String(), "")
		return false
	}
	seen[id] = at
	return true
}

// reference reports an id that no model has.
func (c *checker) reference(id string, at Pos) {
	if id == "" || c.nameless || c.models[id] != nil {
		return
	}
	c.mistake(at, "no such model", quote(id), "the id of a model in the catalogue", nearest(id, c.modelIDs))
}

func (c *checker) model(m *Model) {
	for i, id := range m.PassesOn {
		c.reference(id, m.At(entryKey("passes_on", i)))
	}
	if card := m.Card; card != nil && card.Least > card.Most && card.Most > 0 {
		c.mistake(card.At("least"), "smallest card above largest", "least "+card.Least.String(), "at most "+card.Most.String()+", as in most", "")
	}
	seen := map[string]Pos{}
	for _, t := range m.Checks {
		c.once(seen, t.Check, t.At("check"), "check")
		if t.Text == "" && t.Minutes == 0 && !c.faulty[m.At("").File] {
			c.mistake(t.At("check"), "check without text or minutes", quote(t.Check)+" alone", "its text, its minutes, or both", "")
		}
	}
	c.versions(m)
	reader := c.fatReader(m)
	for _, r := range m.Releases {
		for _, n := range r.Needs {
			c.reference(n.Model, n.At("model"))
		}
		c.wayBack(r)
		c.files(r, reader)
	}
}

// wayBack reports keys of a way back where the release has none.
func (c *checker) wayBack(r *Release) {
	if r.WayBack != nil && *r.WayBack || c.faulty[r.At("").File] {
		return
	}
	for _, key := range []string{"back_to", "back_settings"} {
		if r.given(key) {
			c.mistake(r.At(key), "a way back that isn't there", key+" without way_back: true", "way_back: true, if the maker gives a way back to an older release", "")
		}
	}
}

// versions reports releases that are the same one, however they are written.
func (c *checker) versions(m *Model) {
	for i, r := range m.Releases {
		same := func(s *Release) bool {
			return r.Version != "" && s.Version != "" && s.Variant == r.Variant && version.Compare(s.Version, r.Version) == 0
		}
		if j := slices.IndexFunc(m.Releases[:i], same); j >= 0 {
			first := m.Releases[j]
			c.mistake(r.At("version"), "release given twice", quote(string(r.Version))+inVariant(r.Variant),
				fmt.Sprintf("each version once for each variant; %s is in line %d", quote(string(first.Version)), first.At("version").Line), "")
		}
	}
}

func inVariant(v string) string {
	if v == "" {
		return ""
	}
	return " of variant " + quote(v)
}

func (c *checker) vessel(v *Vessel) {
	if len(v.Devices) == 0 && v.given("devices") && !c.faulty[v.At("").File] {
		c.mistake(v.At("devices"), "no devices", "an empty list", "the equipment aboard", "")
	}
	seen := map[string]Pos{}
	named := true
	for _, d := range v.Devices {
		named = c.once(seen, d.ID, d.At("id"), "device") && named
	}
	for _, d := range v.Devices {
		c.reference(d.Model, d.At("model"))
		c.held(d)
		c.reachable(d)
		for i, id := range d.Through {
			at := d.At(entryKey("through", i))
			switch host := v.Device(id); {
			case host != nil:
				c.host(d, host, at)
			case named && id != "":
				c.noDevice(v, d, id, at)
			}
		}
	}
}

// held reports a hold without a reason, and a reason without a hold.
func (c *checker) held(d *Device) {
	switch {
	case len(d.Hold) > 0 && d.HoldWhy == "":
		c.mistake(d.At("hold"), "hold without a reason", "no hold_why", "hold_why: why the customer wants it", "")
	case d.HoldWhy != "" && !d.given("hold"):
		c.mistake(d.At("hold_why"), "reason without a hold", "no hold", `hold: the range to keep, such as "< 5"`, "")
	}
}

// reachable reports a device that is updated through another though its model can't be
// updated. One of which nothing says how it is updated is no mistake: it stays as it is.
func (c *checker) reachable(d *Device) {
	if m := c.sound(d.Model); m != nil && m.Route == ByNobody && len(d.Through) > 0 {
		c.mistake(m.At("route"), "update of a device that can't be updated", fmt.Sprintf("%q, and %s is updated through %s (%s)", m.Route, d.ID, d.Through[0], d.At("through")),
			"another route, or no through for the device", "")
	}
}

// sound returns a model whose file has no mistake, or nil.
func (c *checker) sound(id string) *Model {
	if m := c.models[id]; m != nil && !c.faulty[m.At("").File] {
		return m
	}
	return nil
}

// host checks one device of another's through.
func (c *checker) host(d, host *Device, at Pos) {
	found := quote(host.ID)
	if host.ID == d.ID {
		c.mistake(at, "device passes on to itself", found, "the id of another device aboard", "")
		return
	}
	if len(host.Through) > 0 {
		c.mistake(at, "chain of devices", found+", which is itself updated through "+quote(host.Through[0]),
			"a device with a card slot of its own", "")
		return
	}
	m := c.sound(host.Model)
	if m == nil || c.models[d.Model] == nil {
		return
	}
	found += ", a " + m.ID
	switch {
	case !slices.Contains(m.PassesOn, d.Model):
		c.mistake(at, "device does not pass updates on", found, "a device whose model has "+d.Model+" in passes_on", "")
	case m.Card == nil:
		c.mistake(at, "device has no card slot", found, "a device with a card slot of its own", "")
	}
}

// noDevice reports an id that no device aboard has.
func (c *checker) noDevice(v *Vessel, d *Device, id string, at Pos) {
	var others []string
	for _, o := range v.Devices {
		if o != d {
			others = append(others, o.ID)
		}
	}
	expected := "one of " + list(others)
	if len(others) == 0 {
		expected = "the id of another device aboard"
	}
	c.mistake(at, "no such device", quote(id), expected, nearest(id, others))
}
