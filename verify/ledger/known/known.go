// Package known says what is known of a vessel and of a release: from the ledger's
// events, and of releases from the catalogue too. All answers are drawn from here.
// It is pure: the caller reads files and events.
// The rules stand in known.go, each with the test that holds it.
package known

import (
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// The rules.
//
// Withdrawn (TestAWithdrawalIsOneWhereverItStands):
//   - a release is withdrawn if the catalogue or a ledger event that counts says
//     so, until the event is taken back. One that was noted without a variant is
//     of all; the catalogue means exactly the variant it says.
//
// Failed and put off (TestWhatWasLeftOpenStandsUntil):
//   - each stands until that step is done, the version it was to bring is read, a
//     correction says how it ended, or the device is gone or another. Reading any
//     other version ends neither.
//   - after a failed step nobody knows what the device runs, until it is read.
//   - putting off changes nothing of what is known.
//   - a failed check, and one not done, stand until the same check of the same
//     device passes later, or the device is gone or another.
//
// Order (TestOrder, TestAClockThatJumped, TestADayKeepsTheOrderOfNoting):
//   - of two events of one writer's chain the later written is later, unless a
//     person dated it (ledger.Statement.DatedByHand): then it has that date,
//     behind what was noted before it for the same moment.
//   - so too for two writers, where the one had seen the other's event when he
//     wrote (ledger.Seen).
//   - of two writers' events neither is later where neither writer had seen the other's.
//     Where they read different versions, or equipment of different models, and
//     neither's step started from what the other left, the device is disputed, until
//     somebody who had seen both reads it
//     (TestTwoWritersWhoHadNotSeenEachOther).
//   - a correction takes the place of what it corrects; the last of several
//     counts, and a correction is never itself corrected (TestACorrectionStandsInItsPlace).
//   - unknown takes away no version that was read, unless the device was lost
//     with a failed step, gone or replaced (TestUnknownTakesNoKnownVersionAway).
//   - a device that one writer says is gone is aboard where another saw it and
//     neither knew of the other (TestGoneAndSeenAboard): its boat must be called.
//   - a vessel's name is the last that it was given, in this order (TestTheLastName).
//
// Files and ledger (TestFileAndLedger, TestFileAndLedgerOfADevice):
//   - what differs in a vessel's file from what cardwright last wrote there was
//     changed by hand: it counts, with a note, until somebody agrees to have it noted.
//   - where the file is as cardwright left it and the ledger has moved, the ledger
//     counts, and the file is reported as behind.
//   - where both have moved, or somebody wrote that nobody knows, the device is
//     disputed until it is read.
//   - where nobody remembers what was written, a version that the device had once was
//     written then, and any other by hand.
//
//   - what a file says of the vessel herself (name, berth, numbers) is compared so, too,
//     where both say something (TestFileAndLedgerOfTheVessel). A file that has an
//     id that she had before is behind, and so is the file of one that is gone.
//
// Renamed (TestAVesselIsOneUnderAllItsIDs, TestWhatIsKnownUnderAnEarlierID): a vessel is
// one under all ids that she had, whenever something was noted under which.
//
// Another box (TestAReplacedDeviceStartsAnew): what took a device's place starts with
// nothing known and nothing open.
//
// Who may be believed (TestOnlyTrustedWritersCount):
//   - an event of a writer whom the shop doesn't trust counts in nothing, and is
//     counted as left out. Where the shop names nobody, everybody counts.
//   - a correction by such a writer corrects nothing.

// Vessel is what is known of one vessel.
type Vessel struct {
	ID      string   `json:"id"`
	Devices []Device `json:"devices"` // by id; those gone too
	// LeftOut counts the events about this vessel of writers whom the shop
	// doesn't trust; Untrusted are they, at most MaxUntrusted.
	LeftOut   int            `json:"left_out"`
	Untrusted []ledger.Event `json:"-"`

	whole whole
}

// MaxUntrusted is how many events that were left out are given.
const MaxUntrusted = 100

// Device is what is known of one device.
type Device struct {
	ledger.Device
	Version version.V `json:"version"`          // or version.Unknown; "" when gone
	Other   version.V `json:"other"`            // what another says, where neither is later; "" where nobody disagrees
	Before  version.V `json:"before,omitempty"` // what it ran before the step that brought Version; "" where none did, or nobody read it
	Since   time.Time `json:"since"`            // when this was read; zero: only its file says so
	By      string    `json:"by"`               // technician
	How     How       `json:"how"`
	Gone    bool      `json:"gone"` // no longer aboard
	Event   ledger.ID `json:"-"`    // that says so; zero: none
	Open    []Open    `json:"open"` // in the order of OpenKinds

	ever []string // keys of all versions that were read off it, also before a step
}

// EverRead reports whether any event says what the device runs, or that it is aboard or
// gone; of others only checks or steps that were put off are known.
func (d *Device) EverRead() bool { return d.Event != ledger.ID{} }

// How reports how something is known; the list is closed.
type How string

// The ways of knowing.
const (
	readAboard   How = "read aboard"
	installed    How = "installed and read"
	fromCapture  How = ledger.FromCapture
	takenOn      How = "as its file had it when it was taken on"
	NobodyKnows  How = "not known"
	fromFile     How = "written by hand" // in the vessel's file, and agreed to
	FailedUnread How = "not read since a step failed"
)

// OpenKind says what is open about a device; the list is closed.
type OpenKind string

// What can be open, the gravest first.
const (
	Failed       OpenKind = "step failed"
	Disputed     OpenKind = "disputed"
	OnWithdrawn  OpenKind = "on a withdrawn release"
	SettingsLost OpenKind = "settings lost" // and not entered again
	PutOff       OpenKind = "step put off"
	CheckFailed  OpenKind = "check failed"
	CheckNotDone OpenKind = "check not done"

	// Of the vessel's file against the ledger, see Beside.
	NotNoted  OpenKind = "not noted" // a person changed the file
	FileOlder OpenKind = "file is behind"
)

// OpenKinds is the closed list, in that order.
var OpenKinds = []OpenKind{Failed, Disputed, OnWithdrawn, SettingsLost, NotNoted, FileOlder, PutOff, CheckFailed, CheckNotDone}

// Open is one thing that is open about a device.
type Open struct {
	Kind    OpenKind     `json:"kind"`
	At      time.Time    `json:"at"`      // zero where no event has it
	By      string       `json:"by"`      // technician
	Planned version.V    `json:"planned"` // what the step was to bring
	What    string       `json:"what"`    // the check, the other version, the release
	Why     string       `json:"why"`
	Event   ledger.ID    `json:"event"`
	Entry   ledger.Entry `json:"-"`
}

// Left reports whether it is what a step or a check left.
func (o *Open) Left() bool { return o.Entry.Step != nil || o.Entry.Check != nil }

// Device finds a device; nil where nothing is known of it.
func (v *Vessel) Device(id string) *Device {
	for i := range v.Devices {
		if v.Devices[i].ID == id {
			return &v.Devices[i]
		}
	}
	return nil
}
