package verify

import (
	"io"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/manifest/version"
	"cardwright/media"
)

// Expected is what a card should hold.
type Expected struct {
	// Record is the card's record. Its running digests may be missing where
	// the packages weren't read; its install order's digest may be "" where
	// that isn't known.
	Record media.Record
	// Nothing: the vessel needs no card at all.
	Nothing bool
	// Beside: other files may be there, and are reported.
	Beside bool
	// Alone: the card should hold its payload only, no folder of the record.
	Alone bool
	// RecordOptional: a card without the record's folder is reported, and can
	// be good all the same, as when a customer made it.
	RecordOptional bool
	// FromRecord: nothing is known but what a record on the card says that one
	// of Trusts has signed. Without such a record nothing is expected.
	FromRecord bool
	// Trusts are the shops whose signatures are believed.
	Trusts []*manifest.Trust
	// Signed: the record has to be signed by one of Trusts.
	Signed bool
	// Commands that the advice of findings names.
	Commands Commands
	// Digest of the card, 64 hex digits; "" where it isn't known.
	Digest string
	// Limits on measured bytes; the zero value sets none.
	Limits media.Limits
	// FileSystems that every device which takes the card reads; none: fat32.
	FileSystems []string
	// Aboard is what a file can be recognised by; nil: by nothing.
	Aboard *Aboard
	// Package opens the package file of a payload path, to name the first byte
	// that differs. nil, or an error: only the MiB is named.
	Package func(path string) (io.ReadCloser, error)
}

// Commands are the caller's command lines for what advice names, each a line to
// copy. Advice leaves out one that is "".
type Commands struct {
	Verify  string // judges this card for its vessel
	Order   string // the same, and writes the install order
	Drive   string // judges the drive that the card is in
	Prepare string // writes another card for the vessel
	Repair  string // the same, from what is good on this one
	WayBack string // judges it against the way back of the vessel's plan
	Readers string // lists the drives that cards are in
}

// Aboard is what is known of a shop's packages and of one vessel.
type Aboard struct {
	Shop   *manifest.Shop
	Vessel *manifest.Vessel // nil: no vessel was named
	Plan   order.Plan       // the vessel's, with cards and folders
	Card   int              // which card of the plan this one should be
}

// ForCard is what card c of a layout should hold.
func ForCard(l media.Layout, c media.Card, installOrder []byte, packages media.Packages) Expected {
	e := Expected{Record: l.Record(c), Alone: c.Alone, RecordOptional: true, Limits: c.Limits, FileSystems: c.FileSystems}
	e.Record.InstallOrder = media.NewRecordFile(media.InstallOrderPath, installOrder)
	sources := map[string]media.Source{}
	for _, f := range c.Files {
		sources[f.Path] = f.Source
	}
	e.Package = func(path string) (io.ReadCloser, error) { return packages.Open(sources[path]) }
	return e
}

// orRecord is what is expected where the caller expects nothing.
func (e *Expected) orRecord() Expected {
	if e == nil {
		return Expected{FromRecord: true}
	}
	return *e
}

// visit is the vessel that the card should be for, or nil.
func (e Expected) visit() *Aboard {
	if e.Aboard == nil || e.Aboard.Vessel == nil {
		return nil
	}
	return e.Aboard
}

// shop is the shop whose packages are known, or nil.
func (e Expected) shop() *manifest.Shop {
	if e.Aboard == nil {
		return nil
	}
	return e.Aboard.Shop
}

// steps are those of the vessel's plan that this card is for.
func (a *Aboard) steps() []order.Step {
	return slices.DeleteFunc(slices.Clone(a.Plan.Steps), func(s order.Step) bool { return s.Card != a.Card })
}

// choosesFolder reports whether a step's folder is chosen on the device's screen.
func (a *Aboard) choosesFolder(s order.Step) bool {
	id := s.Device
	if s.Through != "" {
		id = s.Through
	}
	device := a.Vessel.Device(id)
	if device == nil {
		return false
	}
	model := a.Shop.Model(device.Model)
	return model != nil && model.Card != nil && model.Card.Folder == manifest.AnyFolder
}

// endOf is the version that a device ends the visit on.
func (a *Aboard) endOf(d *manifest.Device) version.V {
	end := d.Version
	for _, s := range a.Plan.Steps {
		if s.Device == d.ID {
			end = s.To
		}
	}
	return end
}

// atPowerUp are the devices that install by themselves at power-up, with their
// models. No vessel has none.
func (a *Aboard) atPowerUp() (devices []*manifest.Device) {
	if a == nil {
		return nil
	}
	for _, d := range a.Vessel.Devices {
		if m := a.Shop.Model(d.Model); m != nil && m.Card != nil && m.Card.AtPowerUp {
			devices = append(devices, d)
		}
	}
	return devices
}

// key is a path as everything that ignores letter case compares it.
func key(path string) string { return samename.CaseKey(path) }
