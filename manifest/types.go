// Package manifest holds what a shop writes down: its catalogue of models and
// releases, and its vessels with the devices aboard. It loads these from the
// shop folder, strictly: every mistake at once, each with file, line and
// column, what was found and what was expected.
package manifest

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/digest"
	"cardwright/manifest/version"
)

// Pos is a place in a file that a person wrote. Line and Column count from 1;
// 0 means unknown.
type Pos struct {
	File   string
	Line   int
	Column int
}

// String gives file:line:column, as editors and terminals understand it.
func (p Pos) String() string {
	switch {
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// MarshalText writes the position as String does.
func (p Pos) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// Source is where the keys of one mapping are. It is embedded in every type that is
// read from a file.
type Source struct {
	whole Pos
	keys  map[string]Pos
}

// At returns where the value of key is, or where the whole mapping
// begins when the key was left out (or is ""). An entry of a list of texts
// has a key of its own: through[0].
func (s *Source) At(key string) Pos {
	if p, ok := s.keys[key]; ok {
		return p
	}
	return s.whole
}

// SetAt notes where the value of key is; key "" is the whole mapping.
func (s *Source) SetAt(key string, p Pos) {
	if key == "" {
		s.whole = p
		return
	}
	if s.keys == nil {
		s.keys = map[string]Pos{}
	}
	s.keys[key] = p
}

// given reports whether key stood there, whatever its value.
func (s *Source) given(key string) bool {
	_, ok := s.keys[key]
	return ok
}

// Shop is a shop folder: the file shop.yaml and all that is below it.
type Shop struct {
	Source
	Name     string `yaml:"shop"`
	Packages string `yaml:"packages"` // folder of package files, relative to Dir
	Ledger   string `yaml:"ledger"`   // file relative to Dir, or a postgres:// address
	Call     string `yaml:"call"`     // whom to call when a step fails, and how
	Font     string `yaml:"font"`     // file of a font for letters that the program's own fonts lack, relative to Dir

	Trusts []*Trust `yaml:"trusts"` // whose records on cards are believed

	SeaTrial *SeaTrial `yaml:"sea_trial"` // the shop's own tolerances; nil: the usual ones

	Checks []*CheckTime `yaml:"checks"` // how long checks take, where a model doesn't say

	DayHours int `yaml:"day_hours"` // of work; 0: the usual ones

	Dir     string    `yaml:"-"` // the shop folder, absolute
	Models  []*Model  `yaml:"-"` // in order of id
	Vessels []*Vessel `yaml:"-"` // in order of id
}

// Trust is a shop whose signed records are believed.
type Trust struct {
	Source
	Shop string `yaml:"shop"`
	Key  string `yaml:"key"` // public key, as minisign writes it
	// Until is the last day on which the key was the shop's: of the ledger's events
	// what had come in by then still counts. Zero: it still is.
	Until Date `yaml:"until"`
}

// Left reports whether the key was no longer the shop's at a moment.
func (t *Trust) Left(now time.Time) bool { return !t.Until.IsZero() && now.After(t.Until.End()) }

// End is the last second of the day, by this computer's clock.
func (d Date) End() time.Time {
	return time.Date(d.Year(), d.Month(), d.Day()+1, 0, 0, 0, 0, time.Local).Add(-time.Second)
}

// SeaTrial is how far the values of a sea trial may be off, and who says so. What
// is left out is as usual. Degrees, but for the overshoot.
type SeaTrial struct {
	Source
	Deviation string `yaml:"deviation"` // on any heading
	Alignment string `yaml:"alignment"`
	Helm      string `yaml:"helm"`      // carried
	Course    string `yaml:"course"`    // RMS about it
	Overshoot string `yaml:"overshoot"` // percent of the turn
	By        string `yaml:"by"`        // the rule, the maker or the shop that sets them
}

// Model is one catalogue file: a kind of equipment and its releases.
type Model struct {
	Source
	ID       string     `yaml:"model"`
	Maker    string     `yaml:"maker"`
	Name     string     `yaml:"name"`
	Kind     Kind       `yaml:"kind"`
	Card     *CardRules `yaml:"card"`      // nil: the device has no card slot
	Route    string     `yaml:"route"`     // one of Routes: how it is updated where neither its own card nor another device does it; "": by its card
	PassesOn []string   `yaml:"passes_on"` // ids of models that it can update over the network
	Releases []*Release `yaml:"releases"`  // in the order of the file
	Alike    bool       `yaml:"alike"`     // all devices of the model on one vessel end on one version

	OnNetwork   []string `yaml:"on_network"`   // model IDs under which it announces itself on the boat's network
	VersionFrom string   `yaml:"version_from"` // pattern whose one group is the version in what it says of itself there
	SigningKey  string   `yaml:"signing_key"`  // the maker's public key, as minisign writes it
	Downloads   string   `yaml:"downloads"`    // where the maker publishes its packages: an address

	OpensArchives bool       `yaml:"opens_archives"` // it takes a package as the archive that it came in
	History       []*Past    `yaml:"history"`        // files of its releases that were replaced or taken out, the oldest first
	PastKeys      []*PastKey `yaml:"past_keys"`      // keys that signing_key was before, the oldest first

	// What the install order says of the model, in the words of its maker.
	VersionShown string       `yaml:"version_shown"` // where the device shows its version
	Install      string       `yaml:"install"`       // how an update is started on its screen
	Restarts     string       `yaml:"restarts"`      // what restarts, and how long it is dark
	LeaveAlone   string       `yaml:"leave_alone"`   // what not to touch meanwhile
	Checks       []*CheckText `yaml:"checks"`
	IfItFails    string       `yaml:"if_it_fails"`

	SettingsMinutes int `yaml:"settings_minutes"` // to enter its settings again, where an update loses them; 0: not said
}

// Ways of updating a device without a card.
const (
	ByCable   = "cable"   // from the shop's laptop, plugged into it
	ByProgram = "program" // its maker's own, on the shop's laptop
	ByMaker   = "maker"   // nobody else may
	ByNobody  = "none"    // it can't be updated at all
)

// Routes is the closed list of them.
var Routes = []string{ByCable, ByProgram, ByMaker, ByNobody}

// RouteOf is how a device is updated without a card: "" where a card does it, its
// own or that of a device that passes it on.
func (m *Model) RouteOf(d *Device) string {
	if len(d.Through) > 0 {
		return ""
	}
	return m.Route
}

// CheckText is how one check of Checks is made: on a model, the steps and the
// figures of its maker. One of Text and Minutes is given.
type CheckText struct {
	Source
	Check   string `yaml:"check"`
	Text    string `yaml:"text"`
	Minutes int    `yaml:"minutes"` // 0: not said
}

// CheckTime is how long a check of Checks takes, on whatever model.
type CheckTime struct {
	Source
	Check   string `yaml:"check"`
	Minutes int    `yaml:"minutes"`
}

// Kind is the trade's word for what a device is.
type Kind string

// Kinds is the closed list of device kinds, in the order a helm is checked.
var Kinds = []Kind{
	"chart display", "radar", "sounder", "autopilot computer", "heading sensor",
	"position sensor", "transponder", "radio", "instrument", "camera", "gateway", "other",
}

// CardRules says which cards a device reads and how it takes a package.
type CardRules struct {
	Source
	Least       Size     `yaml:"least"` // nominal, bytes
	Most        Size     `yaml:"most"`  // nominal, bytes
	FileSystems []string `yaml:"file_systems"`
	Slot        string   `yaml:"slot"`
	Folder      string   `yaml:"folder"`      // AnyFolder, or a fixed path such as "/" or "/update"
	AtPowerUp   bool     `yaml:"at_power_up"` // installs by itself when powered up with a card in
	Alone       bool     `yaml:"alone"`       // nothing else may be on the card, not even the record
}

// AnyFolder is the folder of a device on whose screen a person chooses one.
const AnyFolder = "any"

// Size is a count of bytes, written as 412345678, 4GB (decimal) or 4GiB (binary).
type Size int64

// Release is one version of a model's software as its maker published it.
type Release struct {
	Source
	Version    version.V     `yaml:"version"`
	Released   Date          `yaml:"released"`
	Files      []*File       `yaml:"files"`
	Touch      []string      `yaml:"touch"`   // names of the files, as on the card, that a person touches on the device; none: not said
	Variant    string        `yaml:"variant"` // region or language; must equal the device's
	Over       version.Range `yaml:"over"`    // what the device itself must run before this
	Needs      []*Need       `yaml:"needs"`
	PassedOnBy version.Range `yaml:"passed_on_by"` // what the host must run to pass this on
	Minutes    int           `yaml:"minutes"`
	WayBack    *bool         `yaml:"way_back"`      // nil: the maker doesn't say
	BackTo     version.Range `yaml:"back_to"`       // the older releases that the way leads to; none: those whose over has this one
	BackLoses  string        `yaml:"back_settings"` // what going back does to settings: as Settings
	Settings   string        `yaml:"settings"`      // SettingsKept, SettingsLost, or "" where the maker doesn't say
	After      []string      `yaml:"after"`         // checks to redo, of Checks
	Withdrawn  string        `yaml:"withdrawn"`
	Notes      string        `yaml:"notes"`
}

// What becomes of a device's settings.
const (
	SettingsKept = "kept"
	SettingsLost = "lost"
)

// Checks is the closed list of checks that an update can make necessary.
var Checks = []string{
	"version shown", "settings and waypoints", "heading against course", "compass swing",
	"dockside set-up", "rudder stops and centre", "automatic tuning", "manual steering",
	"position shown", "depth shown", "radar picture", "targets shown",
}

// Date is a day, at midnight UTC.
type Date struct{ time.Time }

// File is one file of a release, as it must be on the card.
type File struct {
	Source
	Name    string        `yaml:"name"` // may have folders: a/b.bin
	Size    Size          `yaml:"size"`
	SHA256  digest.SHA256 `yaml:"sha256"` // 64 lower-case hex digits
	Unpack  string        `yaml:"unpack"` // "" or "zip": the device wants the members, not the archive
	Members []*Member     `yaml:"members"`
	Trust   string        `yaml:"trust"` // one of Trusts, or "" where nobody wrote it down
	From    string        `yaml:"from"`  // where the file or its digest was got
	Added   Date          `yaml:"added"` // day on which the shop took it in
}

// What vouches for a file's digest.
const (
	TrustMaker  = "maker"         // the maker's own digest or signature
	TrustSecond = "second source" // somebody else's digest of it
	TrustOurs   = "ours"          // nobody's: the digest is that of the one download
)

// Trusts is the closed list of them, the best first.
var Trusts = []string{TrustMaker, TrustSecond, TrustOurs}

// Past is a file that a release had, and why it hasn't any longer. Cards that were
// made before then carry it.
type Past struct {
	Source
	Version version.V     `yaml:"version"`
	Variant string        `yaml:"variant"`
	File    string        `yaml:"file"`
	Size    Size          `yaml:"size"`
	SHA256  digest.SHA256 `yaml:"sha256"`
	Until   Date          `yaml:"until"` // day on which it was replaced or taken out
	Why     string        `yaml:"why"`
	By      digest.SHA256 `yaml:"by"` // SHA-256 of the file that took its place; "": none did
}

// PastKey is a maker's key that another one took the place of, and why.
type PastKey struct {
	Source
	Key   string `yaml:"key"`
	Until Date   `yaml:"until"` // day on which it was replaced
	Why   string `yaml:"why"`
}

// Member is one file inside an archive that is unpacked onto the card.
type Member struct {
	Source
	Name   string        `yaml:"name"`
	Size   Size          `yaml:"size"`
	SHA256 digest.SHA256 `yaml:"sha256"`
}

// Need is a release's demand on another model aboard.
type Need struct {
	Source
	Model   string        `yaml:"model"`
	Version version.Range `yaml:"version"`
	By      string        `yaml:"by"` // ByStart or ByEnd
}

// When a need must be met.
const (
	ByStart = "start" // before this step begins
	ByEnd   = "end"   // when the visit ends
)

// Vessel is one vessel file.
type Vessel struct {
	Source
	ID       string    `yaml:"vessel"`
	Name     string    `yaml:"name"`
	Formerly []string  `yaml:"formerly"` // ids that she had before, the last first
	Identity Identity  `yaml:"identity"`
	Berth    string    `yaml:"berth"`
	Supply   string    `yaml:"supply"`  // 12V, 24V, …, as the technician writes it
	Folders  string    `yaml:"folders"` // FoldersByDevice or FoldersByModel
	Devices  []*Device `yaml:"devices"` // in the order of the file
}

// How the folders on a vessel's cards are named.
const (
	FoldersByDevice = "device" // a folder for each device
	FoldersByModel  = "model"  // one for each model and version, to save room
)

// Identity tells a vessel from others of its name.
type Identity struct {
	Source
	IMO  string `yaml:"imo"`
	MMSI string `yaml:"mmsi"`
	Hull string `yaml:"hull"`
}

// Device is one piece of equipment aboard.
type Device struct {
	Source
	ID      string        `yaml:"id"`
	Model   string        `yaml:"model"`
	Serial  string        `yaml:"serial"`
	Place   string        `yaml:"place"`
	Version version.V     `yaml:"version"` // or version.Unknown
	Variant string        `yaml:"variant"`
	Hold    version.Range `yaml:"hold"` // a range the customer wants kept
	HoldWhy string        `yaml:"hold_why"`
	Through []string      `yaml:"through"` // ids of devices, any one of which can update this one
}

// ModelIDs are the ids of the models in the catalogue.
func (s *Shop) ModelIDs() []string {
	all := make([]string, len(s.Models))
	for i, m := range s.Models {
		all[i] = m.ID
	}
	return all
}

// Model returns the model with this id, or nil.
func (s *Shop) Model(id string) *Model {
	for _, m := range s.Models {
		if m.ID == id {
			return m
		}
	}
	return nil
}

// Vessel returns the vessel with this id, or nil.
func (s *Shop) Vessel(id string) *Vessel {
	for _, v := range s.Vessels {
		if v.ID == id {
			return v
		}
	}
	return nil
}

// VesselOnce is Vessel for what may be older than a new id: cards, sheets and events
// name a vessel by the id that she had then.
func (s *Shop) VesselOnce(id string) *Vessel {
	if v := s.Vessel(id); v != nil {
		return v
	}
	for _, v := range s.Vessels {
		if slices.Contains(v.Formerly, id) {
			return v
		}
	}
	return nil
}

// Under is a vessel as she was named by an id that she had before.
func (v *Vessel) Under(id string) *Vessel {
	was := *v
	was.ID = id
	return &was
}

// Device returns the device with this id, or nil.
func (v *Vessel) Device(id string) *Device {
	for _, d := range v.Devices {
		if d.ID == id {
			return d
		}
	}
	return nil
}

// Release returns the release of this version and variant, or nil. Versions
// that are written differently but compare as equal are the same release.
func (m *Model) Release(v version.V, variant string) *Release {
	if v == "" || v == version.Unknown {
		return nil
	}
	for _, r := range m.Releases {
		if r.Variant == variant && version.Compare(r.Version, v) == 0 {
			return r
		}
	}
	return nil
}

// LeadsBackTo reports whether there is a way back from a release to an older one: its
// maker says so, and back_to has the older one, or, where that isn't said, the
// older one is installed over this one.
func (r *Release) LeadsBackTo(older *Release) bool {
	switch {
	case r.WayBack == nil || !*r.WayBack:
		return false
	case len(r.BackTo) > 0:
		return r.BackTo.Allows(older.Version)
	}
	return older.Over.Allows(r.Version)
}

// BackSettings is what becomes of the settings when a device goes back from this
// release to an older one: lost where either loses them, kept where both keep
// them, "" where a maker doesn't say.
func (r *Release) BackSettings(older *Release) string {
	switch {
	case r.BackLoses == SettingsLost || older.Settings == SettingsLost:
		return SettingsLost
	case r.BackLoses == SettingsKept:
		return SettingsKept
	}
	return ""
}

// Touches reports whether a file of the release, by its name on the card, is one
// that a person may touch on the device's screen: any, where the release doesn't
// say.
func (r *Release) Touches(name string) bool {
	return len(r.Touch) == 0 || slices.ContainsFunc(r.Touch, func(t string) bool { return strings.EqualFold(t, name) })
}

// OnCard are the names that the file has on a card: its own, or those of its members
// where it is unpacked.
func (f *File) OnCard() (names []string) {
	for _, o := range contents(f) {
		names = append(names, o.name)
	}
	return names
}

// FileOf is the file of the release with this SHA-256, or nil.
func (r *Release) FileOf(sha256 digest.SHA256) *File {
	for _, f := range r.Files {
		if f.SHA256 == sha256 {
			return f
		}
	}
	return nil
}
