package order

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Format is the version of the plan's JSON form.
const Format = 1

// Plan says what is done to one vessel's devices, step by step. No steps and
// no conflict means that there is nothing to do.
type Plan struct {
	Format       int            `json:"format"`
	Vessel       string         `json:"vessel"`
	Steps        []Step         `json:"steps"`
	OutOfService []OutOfService `json:"out_of_service"`
	Cards        []Card         `json:"cards"` // filled in by media.Lay
	Notes        []string       `json:"notes"`
	Conflict     *Conflict      `json:"conflict"`
}

// Step is one release installed on one device.
type Step struct {
	Number  int       `json:"number"` // from 1
	Device  string    `json:"device"`
	Model   string    `json:"model"`
	From    version.V `json:"from"`
	To      version.V `json:"to"`
	Card    int       `json:"card"`   // from 1; 0 before media.Lay
	Folder  string    `json:"folder"` // on the card, without slashes at its ends; "" is the card's root
	Files   []File    `json:"files"`  // as they stand below Folder
	Over    string    `json:"over"`   // the range the device must run before this; "" is any
	Through string    `json:"through"`
	Minutes int       `json:"minutes"`
}

// File is one file that a step needs.
type File struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// OutOfService says that a device doesn't work from the start of one step to
// the end of another (its own software and another device's don't fit
// meanwhile).
type OutOfService struct {
	Device   string `json:"device"`
	FromStep int    `json:"from_step"`
	ToStep   int    `json:"to_step"`
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
}

// Fact is something a person wrote down, and where.
type Fact struct {
	Fact string       `json:"fact"`
	At   manifest.Pos `json:"at"`
}

// ID is the plan's identity: the SHA-256 of its vessel and steps, as 64 hex
// digits. Where media.Lay puts the files doesn't change it.
func (p Plan) ID() string {
	steps := make([]Step, len(p.Steps))
	for i, s := range p.Steps {
		s.Card, s.Folder = 0, ""
		steps[i] = s
	}
	text, err := json.Marshal(struct {
		Vessel string
		Steps  []Step
	}{p.Vessel, steps})
	if err != nil { // strings and numbers always marshal
		panic(err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
