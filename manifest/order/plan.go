package order

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/version"
)

// Format is the version of the plan's JSON form.
const Format = 1

// Plan says what is done to one vessel's devices, step by step. No steps, no
// conflict and nothing left out means that there is nothing to do.
type Plan struct {
	Format       int            `json:"format"`
	Vessel       string         `json:"vessel"`
	Steps        []Step         `json:"steps"`
	OutOfService []OutOfService `json:"out_of_service"`
	Cards        []Card         `json:"cards"` // filled in by media.Lay
	Notes        []string       `json:"notes"`
	Time         Time           `json:"time"`
	Conflict     *Conflict      `json:"conflict"`           // where there are no steps around it
	Later        []string       `json:"later,omitempty"`    // what the time doesn't allow for; it is a part then
	LeftOut      []LeftOut      `json:"left_out,omitempty"` // what the plan goes around; it is a part then
	Unknown      []Reading      `json:"unknown,omitempty"`  // to be read first: there are no steps for what is connected with them
	WayBack      bool           `json:"way_back,omitempty"` // devices go back to older releases: see Ask.Back and Undo
	Answers      []Answer       `json:"answers,omitempty"`  // what follows; none where there would be more than maxAnswers
}

// Step is one release installed on one device.
type Step struct {
	Number  int           `json:"number"` // from 1
	Device  string        `json:"device"`
	Model   string        `json:"model"`
	From    version.V     `json:"from"`
	To      version.V     `json:"to"`
	Card    int           `json:"card"`   // from 1; 0 before media.Lay
	Folder  string        `json:"folder"` // on the card, without slashes at its ends; "" is the card's root
	Files   []digest.File `json:"files"`  // as they are below Folder
	Over    string        `json:"over"`   // the range the device must run before this; "" is any
	Through string        `json:"through"`
	Route   string        `json:"route,omitempty"` // where no card does it: manifest.ByCable, ByProgram or ByMaker
	Minutes int           `json:"minutes"`
	Why     []string      `json:"why,omitempty"`          // it is there, and comes where it does
	Undoes  int           `json:"undoes,omitempty"`       // step of the plan that this one takes back, see Undo
	Before  int           `json:"only_before,omitempty"`  // step of that plan which has no way back: only while it hasn't begun
	Back    *Back         `json:"way_back,omitempty"`     // right after the step; nil in a plan that is a way back
	Stop    bool          `json:"safe_to_stop,omitempty"` // with the checks so far made: everything fits and nothing is out of service
}

// OutOfService says that a device doesn't work from the start of one step to
// the end of another (its own software and another device's don't fit
// meanwhile).
type OutOfService struct {
	Device   string `json:"device"`
	FromStep int    `json:"from_step"`
	ToStep   int    `json:"to_step"`
	Minutes  int    `json:"minutes"`            // of the steps inside
	AtLeast  bool   `json:"at_least,omitempty"` // the catalogue has no time for one of them
}

// Card is what one memory card of the plan holds.
type Card struct {
	Number  int      `json:"number"`  // from 1
	Bytes   int64    `json:"bytes"`   // payload, without the room that clusters round up to
	Needed  int64    `json:"needed"`  // the smallest card that holds it, in measured bytes
	Devices []string `json:"devices"` // devices whose packages are on it
}

// Conflict is why no set of releases has a safe order: facts that rule it out
// together, and changes each of which would free it.
type Conflict struct {
	Because   []Fact   `json:"because"`
	WouldFree []string `json:"would_free"`
	Circle    []string `json:"circle,omitempty"` // releases that wait for one another, the first again at the end
}

// LeftOut are devices, connected with one another and with nothing else, that a
// plan leaves as they are: Conflict, Unknown or GaveUp says why.
type LeftOut struct {
	Devices  []string  `json:"devices"`
	Conflict *Conflict `json:"conflict,omitempty"`
	Unknown  []string  `json:"unknown,omitempty"` // whose version is to be read first
	GaveUp   string    `json:"gave_up,omitempty"` // the bound of the search that was reached

	gaveUp *GaveUp
}

// Fact is something a person wrote down, and where. A request made with the command
// (see Ask) has no place.
type Fact struct {
	Fact string       `json:"fact"`
	At   manifest.Pos `json:"at"`
	Kind Kind         `json:"kind"`
}

// Kind is what sort of fact it is; doc.go says what striking each one means.
type Kind string

// The kinds of fact, a closed list.
const (
	KindNeed      Kind = "need"
	KindOver      Kind = "over"
	KindPassedOn  Kind = "passed on by"
	KindThrough   Kind = "through"
	KindNoSlot    Kind = "no slot"
	KindHold      Kind = "hold"
	KindAlike     Kind = "alike"
	KindWithdrawn Kind = "withdrawn"
	KindInstalled Kind = "installed"
	KindCatalogue Kind = "catalogue"
	KindAsked     Kind = "asked"
	KindWayBack   Kind = "way back"
)

// Reading is a device whose version must be read off the device itself before
// anything is planned.
type Reading struct {
	Device string       `json:"device"`
	Model  string       `json:"model"`
	Place  string       `json:"place"`
	At     manifest.Pos `json:"at"`     // where the version is to be written
	Likely []version.V  `json:"likely"` // what the catalogue knows for it, oldest first
}

// Answer is what follows when the devices of Plan.Unknown turn out to run the
// versions found, in the same order.
type Answer struct {
	Found []version.V `json:"found"`
	Then  Plan        `json:"then"`
}

// maxAnswers is the most combinations of versions that a plan goes through for
// devices whose version is unknown.
const maxAnswers = 64

// ID is the plan's identity: the SHA-256 of its vessel and steps, as 64 hex
// digits. Where media.Lay puts the files doesn't change it.
//
// Cards, sheets and the ledger name plans by it for years. So it is made from
// identity, which never changes, and not from whatever keys Step has today.
func (p Plan) ID() string {
	of := identity{Vessel: p.Vessel, Steps: make([]identityStep, len(p.Steps))}
	for i, s := range p.Steps {
		of.Steps[i] = identityStep{
			Number: s.Number, Device: s.Device, Model: s.Model, From: s.From, To: s.To, Files: identityFiles(s.Files),
			Over: s.Over, Through: s.Through, Minutes: s.Minutes,
		}
	}
	text, err := json.Marshal(of)
	if err != nil { // strings and numbers always marshal
		panic(err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// identity is what a plan's ID is the digest of, in JSON. Its keys, their
// order, and the two that are always empty stay as they are.
type identity struct {
	Vessel string
	Steps  []identityStep
}

type identityStep struct {
	Number  int            `json:"number"`
	Device  string         `json:"device"`
	Model   string         `json:"model"`
	From    version.V      `json:"from"`
	To      version.V      `json:"to"`
	Card    int            `json:"card"`
	Folder  string         `json:"folder"`
	Files   []identityFile `json:"files"`
	Over    string         `json:"over"`
	Through string         `json:"through"`
	Minutes int            `json:"minutes"`
}

type identityFile struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

func identityFiles(files []digest.File) []identityFile {
	if files == nil {
		return nil // null and [] are different digests
	}
	list := make([]identityFile, len(files))
	for i, f := range files {
		list[i] = identityFile{f.Name, f.Size, string(f.SHA256)}
	}
	return list
}
