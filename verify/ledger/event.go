// Package ledger is the account of what went onto which boat: events that are
// never changed, each signed by the writer who made it and linked to the one
// before it, so that an edit, a removal or a reordering is found years later.
//
// The package is pure: events, their canonical form, the chain, and what the
// events say about the devices aboard. The package store keeps them.
package ledger

import (
	"time"

	"cardwright/manifest/digest"
	"cardwright/manifest/version"
)

// Format is the version of an event's canonical form, and of the ledger; see
// Newest.
const Format = 1

// Kind is what an event is about. The list is closed, see Kinds.
type Kind string

// The kinds of event. A foreign card is a card verified with Card.Foreign.
const (
	VesselTakenOn    Kind = "vessel taken on"
	CardPrepared     Kind = "card prepared"
	CardVerified     Kind = "card verified"
	VisitBegun       Kind = "visit begun"
	StepDone         Kind = "step done"
	StepFailed       Kind = "step failed"
	StepPutOff       Kind = "step put off"
	SettingsSaved    Kind = "settings saved"
	CheckPassed      Kind = "check passed"
	CheckFailed      Kind = "check failed"
	CheckNotDone     Kind = "check not done"
	Correction       Kind = "correction"
	ReleaseWithdrawn Kind = "release withdrawn"
)

// Kinds is the closed list of kinds, in the order of the work.
var Kinds = []Kind{
	VesselTakenOn, CardPrepared, CardVerified, VisitBegun, StepDone, StepFailed, StepPutOff,
	SettingsSaved, CheckPassed, CheckFailed, CheckNotDone, Correction, ReleaseWithdrawn,
	WrittenByHand, DeviceReplaced, DeviceMoved, DeviceTakenOff, VesselRenamed, VesselSold, VesselGone,
	CardLost, CardHandedOver, CardDestroyed,
}

// Event is one statement with its identity and its writer's signature.
type Event struct {
	ID        ID        `json:"id"`        // SHA-256 of Content
	Content   []byte    `json:"-"`         // the canonical form of Statement
	Signature []byte    `json:"signature"` // Ed25519, over SignedMessage(ID)
	Statement Statement `json:"statement"`
}

// Statement is what a writer signs: an entry, who wrote it, and its place in
// the writer's chain.
//
// The fields of this and of every type below stand in the order of their JSON
// names, which makes the encoder's output the canonical form of RFC 8785.
type Statement struct {
	Chain  string `json:"chain"` // 32 hex digits; a ledger that was restored begins a new one
	Entry  Entry  `json:"entry"`
	Format int    `json:"format"`
	Prev   string `json:"prev"` // ID of the event before it in the chain; "" for the first
	// Seen are the last events of other chains that the writer's ledger had got
	// since its own event before this one: what the writer could know.
	Seen       []Seen    `json:"seen,omitempty"`
	Seq        int64     `json:"seq"` // place in the chain, from 1
	Shop       string    `json:"shop"`
	Technician string    `json:"technician"`
	Writer     string    `json:"writer"`  // Ed25519 public key, 64 hex digits
	Written    time.Time `json:"written"` // by the writer's clock; UTC, whole seconds
}

// Seen is the last event of another chain that was there when one was written.
type Seen struct {
	Chain  string `json:"chain"`
	ID     string `json:"id"`
	Seq    int64  `json:"seq"`
	Writer string `json:"writer"`
}

// MaxSeen is how many chains one event says that it has seen: the newest.
const MaxSeen = 200

// Entry is what happened, when and where. Exactly one body is set: the one
// that its kind asks for.
type Entry struct {
	At           time.Time     `json:"at"` // when it happened; UTC, whole seconds
	Berth        string        `json:"berth,omitempty"`
	ByHand       *ByHand       `json:"by_hand,omitempty"`
	Card         *Card         `json:"card,omitempty"`
	CardFate     *CardFate     `json:"card_fate,omitempty"`
	Check        *Check        `json:"check,omitempty"`
	Correction   *Correcting   `json:"correction,omitempty"`
	DeviceChange *DeviceChange `json:"device_change,omitempty"`
	Kind         Kind          `json:"kind"`
	Settings     *Settings     `json:"settings,omitempty"`
	Step         *Step         `json:"step,omitempty"`
	TakenOn      *TakenOn      `json:"taken_on,omitempty"`
	Vessel       string        `json:"vessel,omitempty"` // id; "" for a withdrawn release and an unknown card
	VesselChange *VesselChange `json:"vessel_change,omitempty"`
	Visit        string        `json:"visit,omitempty"` // the same for all entries of one visit, see NewVisit
	VisitBegun   *Visit        `json:"visit_begun,omitempty"`
	Withdrawal   *Withdrawal   `json:"withdrawal,omitempty"`
}

// Device is one piece of equipment aboard, as it was on that day.
type Device struct {
	ID      string `json:"id"`
	Kind    string `json:"kind,omitempty"`
	Maker   string `json:"maker,omitempty"`
	Model   string `json:"model,omitempty"`
	Name    string `json:"name,omitempty"`
	Place   string `json:"place,omitempty"`
	Serial  string `json:"serial,omitempty"`
	Variant string `json:"variant,omitempty"`
}

// TakenOn is a vessel with its devices, when it was taken on or checked
// again.
type TakenOn struct {
	Devices []Fitted `json:"devices,omitempty"`
	Hull    string   `json:"hull,omitempty"`
	IMO     string   `json:"imo,omitempty"`
	MMSI    string   `json:"mmsi,omitempty"`
	Name    string   `json:"name"`
	Note    string   `json:"note,omitempty"`
	Removed []string `json:"removed,omitempty"` // ids of devices that are no longer aboard
}

// Fitted is a device aboard and the version that was read off it.
type Fitted struct {
	Device  Device    `json:"device"`
	Version version.V `json:"version"` // or version.Unknown
}

// Card is a memory card that was prepared or verified.
type Card struct {
	Digest   string        `json:"digest,omitempty"`   // 64 hex digits; "" where it could not be formed
	Findings []string      `json:"findings,omitempty"` // kinds of the findings that were not notes
	Foreign  bool          `json:"foreign,omitempty"`  // made by somebody else
	Number   int           `json:"number,omitempty"`   // of the plan's cards, from 1
	Of       int           `json:"of,omitempty"`
	Plan     string        `json:"plan,omitempty"`
	Releases []CardRelease `json:"releases,omitempty"`
	Size     int64         `json:"size,omitempty"` // measured, in bytes
	Target   string        `json:"target,omitempty"`
	Verdict  string        `json:"verdict"` // as verify.Verdict: good, bad, unchecked
	VolumeID string        `json:"volume_id,omitempty"`
	WayBack  bool          `json:"way_back,omitempty"` // it takes devices back to older releases
}

// CardRelease is one release that a card carries, and for which device.
type CardRelease struct {
	Device  string    `json:"device"`
	Maker   string    `json:"maker,omitempty"`
	Model   string    `json:"model"`
	Variant string    `json:"variant,omitempty"`
	Version version.V `json:"version"`
}

// Visit is the start of work aboard.
type Visit struct {
	ApprovedBy string `json:"approved_by,omitempty"`
	Note       string `json:"note,omitempty"`
	Plan       string `json:"plan,omitempty"`
	Purpose    string `json:"purpose,omitempty"`
	Told       string `json:"told,omitempty"` // who was informed
}

// Step is one release installed, tried or put off. Before and After are what
// the device itself showed; "" or version.Unknown where nobody read it.
type Step struct {
	After   version.V `json:"after,omitempty"`
	Before  version.V `json:"before,omitempty"`
	Card    string    `json:"card,omitempty"` // digest of the card it came from
	Device  Device    `json:"device"`
	Files   []File    `json:"files,omitempty"` // of the release, as they were installed
	How     string    `json:"how,omitempty"`   // outside any plan: one of Hows; "" for a card by the plan
	Minutes int       `json:"minutes,omitempty"`
	Note    string    `json:"note,omitempty"`
	Number  int       `json:"number,omitempty"` // in the plan, from 1
	Plan    string    `json:"plan,omitempty"`
	Planned version.V `json:"planned,omitempty"`
	Reason  string    `json:"reason,omitempty"`   // why the release was on no verified card
	WayBack string    `json:"way_back,omitempty"` // WayBackThere or WayBackNone; "" where the maker doesn't say
}

// Whether a device can be taken back to its older release.
const (
	WayBackThere = "there"
	WayBackNone  = "none"
)

// File is one file of a release.
type File struct {
	Name   string        `json:"name"`
	SHA256 digest.SHA256 `json:"sha256"`
	Size   int64         `json:"size"`
}

// Settings says where a device's settings were saved (all devices': "").
type Settings struct {
	Device string `json:"device,omitempty"`
	Note   string `json:"note,omitempty"`
	Where  string `json:"where"`
}

// Check is one check after the work. A version shown that passed is a reading
// of the device's version.
type Check struct {
	Check  string `json:"check"`
	Device Device `json:"device"`
	Note   string `json:"note,omitempty"`
	Trial  *Trial `json:"trial,omitempty"` // of a sea trial
	Value  string `json:"value,omitempty"`
}

// VersionShown is the check whose value is the version that the device shows.
const VersionShown = "version shown"

// FromCapture is the note of a version that a device said of itself on the
// boat's network.
const FromCapture = "from a capture of the boat's network"

// SettingsLost is the note of the check of a device's settings after an update
// that loses them.
const SettingsLost = "the update lost its settings"

// Correcting replaces what an earlier event says, or takes it back. The
// earlier event stays where it is. Of two corrections of one event the later
// one counts; a correction is never itself corrected: correct the first event
// again.
type Correcting struct {
	Instead *Entry `json:"instead,omitempty"` // nil: the earlier event is taken back
	Of      string `json:"of"`                // ID of the earlier event
	Why     string `json:"why"`
}

// Withdrawal says that nobody should run a release any longer.
type Withdrawal struct {
	Maker   string    `json:"maker,omitempty"`
	Model   string    `json:"model"`
	Variant string    `json:"variant,omitempty"`
	Version version.V `json:"version"`
	Why     string    `json:"why"`
}

// Says is what an entry says about the vessel: itself, or for a correction
// what it puts instead (nil: nothing).
func (e *Entry) Says() *Entry {
	if e.Correction != nil {
		return e.Correction.Instead
	}
	return e
}
