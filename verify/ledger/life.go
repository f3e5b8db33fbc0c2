package ledger

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest/version"
)

// The life of a boat and of a card, apart from the work that was planned.
const (
	WrittenByHand   Kind = "written by hand" // in the vessel's file, and agreed to
	DeviceReplaced  Kind = "device replaced"
	DeviceMoved     Kind = "device moved"
	DeviceTakenOff  Kind = "device taken off"
	VesselRenamed   Kind = "vessel renamed"
	VesselSold      Kind = "vessel sold"
	VesselGone      Kind = "vessel gone"
	CardLost        Kind = "card lost"
	CardHandedOver  Kind = "card handed over"
	CardDestroyed   Kind = "card destroyed"
	lifeOfABoatFrom      = 4 // the format that these came with, and Step.How
	wordsByHandFrom      = 6 // the format that ByHand.Vessel came with
)

// ByHand is what a person changed by hand in a vessel's file, and agreed to
// have noted.
type ByHand struct {
	Devices []Fitted `json:"devices,omitempty"` // those that differ, as the file has them
	Removed []string `json:"removed,omitempty"` // ids of devices that the file no longer has
	Vessel  *Words   `json:"vessel,omitempty"`  // her name, and what differs about her
}

// Words are about a vessel herself; "" where nothing is said.
type Words struct {
	Berth string `json:"berth,omitempty"`
	Hull  string `json:"hull,omitempty"`
	IMO   string `json:"imo,omitempty"`
	MMSI  string `json:"mmsi,omitempty"`
	Name  string `json:"name,omitempty"`
}

// WordsOf is what an entry says about the vessel herself, and whether it says anything
// of her: then also that somebody was aboard at her berth.
func WordsOf(e *Entry) (Words, bool) {
	switch {
	case e.TakenOn != nil:
		t := e.TakenOn
		return Words{e.Berth, t.Hull, t.IMO, t.MMSI, t.Name}, true
	case e.VisitBegun != nil:
		return Words{Berth: e.Berth}, true
	case e.VesselChange != nil && e.VesselChange.Name != "":
		return Words{Berth: e.Berth, Name: e.VesselChange.Name}, true
	case e.ByHand != nil && e.ByHand.Vessel != nil:
		return *e.ByHand.Vessel, true
	}
	return Words{}, false
}

// DeviceChange is another box in a device's place, another place for it, or none.
type DeviceChange struct {
	Device  Device    `json:"device"` // as it is now; of one taken off, its id
	Note    string    `json:"note,omitempty"`
	Version version.V `json:"version,omitempty"` // that was read off another box; "" where nobody did
	Was     Fitted    `json:"was"`               // as it was before
}

// VesselChange is another name or owner for a vessel, or its end. Owners are
// never named.
type VesselChange struct {
	ID   string  `json:"id,omitempty"`   // the new id; "" where it stays
	Name string  `json:"name,omitempty"` // the new name; "" where it stays
	Note string  `json:"note,omitempty"`
	Was  *Called `json:"was,omitempty"` // before it was renamed
}

// Called is what a vessel is called.
type Called struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// CardFate is what became of a card.
type CardFate struct {
	Card string `json:"card"` // digest
	Note string `json:"note,omitempty"`
	To   string `json:"to,omitempty"` // who has it: initials or a role
}

// life reports whether an entry needs the format that these came with.
func (e *Entry) life() bool {
	return e.ByHand != nil || e.DeviceChange != nil || e.VesselChange != nil || e.CardFate != nil || e.Step != nil && e.Step.How != ""
}

func fittedReadings(e *Entry, devices []Fitted, removed []string) []Reading {
	var list []Reading
	for _, f := range devices {
		list = append(list, Reading{At: e.At, Vessel: e.Vessel, Device: f.Device, Version: known(f.Version)})
	}
	for _, id := range removed {
		list = append(list, Reading{At: e.At, Vessel: e.Vessel, Device: Device{ID: id}, Gone: true})
	}
	return list
}

// changeReadings say that a device is another, gone, or stands elsewhere: then
// nobody read its version.
func changeReadings(e *Entry) []Reading {
	c := e.DeviceChange
	switch e.Kind {
	case DeviceTakenOff:
		return []Reading{{At: e.At, Vessel: e.Vessel, Device: Device{ID: c.Device.ID}, Gone: true}}
	case DeviceReplaced:
		// The old box goes first: of the same model and with no serial known, the
		// new one would pass for it.
		return []Reading{
			{At: e.At, Vessel: e.Vessel, Device: Device{ID: c.Device.ID}, Gone: true},
			{At: e.At, Vessel: e.Vessel, Device: c.Device, Version: known(c.Version)},
		}
	}
	return []Reading{{At: e.At, Vessel: e.Vessel, Device: c.Device, Version: version.Unknown}}
}

func (b *ByHand) tell() string {
	var parts []string
	for _, f := range b.Devices {
		parts = append(parts, strings.Join(slices.DeleteFunc([]string{
			f.Device.ID, f.Device.Model, string(known(f.Version)), word("serial", f.Device.Serial), f.Device.Place,
		}, func(s string) bool { return s == "" }), " "))
	}
	for _, id := range b.Removed {
		parts = append(parts, id+" taken out")
	}
	if w := b.Vessel; w != nil {
		for _, v := range [][2]string{{"name", w.Name}, {"berth", w.Berth}, {"hull", w.Hull}, {"MMSI", w.MMSI}, {"IMO", w.IMO}} {
			if v[1] != "" {
				parts = append(parts, word(v[0], v[1]))
			}
		}
	}
	return join("written by hand in the vessel's file", parts...)
}

func word(what, s string) string {
	if s == "" {
		return ""
	}
	return what + " " + s
}

func (e *Entry) tellDeviceChange() string {
	c := e.DeviceChange
	is, was := c.Device, c.Was.Device
	var parts []string
	add := func(what, now, before string) {
		if now != before {
			parts = append(parts, strings.TrimSpace(what+" "+cmp.Or(now, "not written down")+", was "+cmp.Or(before, "not written down")))
		}
	}
	switch e.Kind {
	case DeviceTakenOff:
		parts = append(parts, strings.TrimSpace(was.Model+" "+was.Serial), word("it ran", string(c.Was.Version)))
	case DeviceReplaced:
		add("model", is.Model, was.Model)
		add("serial", is.Serial, was.Serial)
		add("", is.Place, was.Place)
		parts = append(parts, "it runs "+string(known(c.Version)))
	case DeviceMoved:
		add("", is.Place, was.Place)
	}
	return join(string(e.Kind), append(append([]string{is.ID}, parts...), c.Note)...)
}

func (e *Entry) tellVesselChange() string {
	c := e.VesselChange
	var parts []string
	if c.Was != nil && c.Name != "" {
		parts = append(parts, fmt.Sprintf("%s, was %s", c.Name, c.Was.Name))
	}
	if c.Was != nil && c.ID != "" {
		parts = append(parts, fmt.Sprintf("id %s, was %s", c.ID, c.Was.ID))
	}
	return join(string(e.Kind), append(parts, c.Note)...)
}

func (e *Entry) tellCardFate() string {
	c := e.CardFate
	return join(string(e.Kind), c.Card[:min(12, len(c.Card))], word("to", c.To), c.Note)
}

func (c *checker) byHand(at string, b *ByHand) {
	if len(b.Devices)+len(b.Removed) == 0 && b.Vessel == nil {
		c.say(at+"devices", "nothing", "a device that differs, or words about the vessel")
	}
	c.fitted(at, b.Devices, b.Removed)
	if w := b.Vessel; w != nil {
		c.maybe(at+"vessel.berth", w.Berth)
		c.maybe(at+"vessel.hull", w.Hull)
		c.maybe(at+"vessel.imo", w.IMO)
		c.maybe(at+"vessel.mmsi", w.MMSI)
		c.word(at+"vessel.name", w.Name)
	}
}

func (c *checker) deviceChange(at string, e *Entry) {
	d := e.DeviceChange
	c.device(at+"device.", &d.Device)
	c.device(at+"was.device.", &d.Was.Device)
	c.version(at+"was.version", d.Was.Version, false)
	c.version(at+"version", d.Version, false)
	c.note(at+"note", d.Note)
	if d.Device.ID != d.Was.Device.ID {
		c.say(at+"was.device.id", quote(d.Was.Device.ID), quote(d.Device.ID)+", the device's own")
	}
	if e.Kind != DeviceTakenOff {
		c.word(at+"device.model", d.Device.Model)
	}
	if e.Kind != DeviceReplaced && d.Version != "" {
		c.say(at+"version", quote(string(d.Version)), "nothing: it is the same box")
	}
}

func (c *checker) vesselChange(at string, e *Entry) {
	v := e.VesselChange
	c.maybe(at+"id", v.ID)
	c.maybe(at+"name", v.Name)
	c.note(at+"note", v.Note)
	if e.Kind != VesselRenamed {
		c.empty(at+"id", v.ID, "a vessel that isn't renamed")
		c.empty(at+"name", v.Name, "a vessel that isn't renamed")
		if v.Was != nil {
			c.say(at+"was", "what it was called", "nothing for a vessel that isn't renamed")
		}
		return
	}
	if v.ID == "" && v.Name == "" || v.ID == e.Vessel {
		c.say(at+"id", quote(v.ID), "another id, another name or both")
	}
	if v.Was == nil {
		c.say(at+"was", "nothing", "what it was called")
		return
	}
	c.word(at+"was.id", v.Was.ID)
	c.word(at+"was.name", v.Was.Name)
}

func (c *checker) cardFate(at string, e *Entry) {
	c.hex(at+"card", e.CardFate.Card, 64)
	c.note(at+"note", e.CardFate.Note)
	c.maybe(at+"to", e.CardFate.To)
	if e.Kind == CardHandedOver {
		c.word(at+"to", e.CardFate.To)
	} else {
		c.empty(at+"to", e.CardFate.To, "a card that nobody was given")
	}
}
