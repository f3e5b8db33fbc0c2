package known

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// aboard is a vessel of three devices, as its file has them.
func aboard() *manifest.Vessel {
	return &manifest.Vessel{ID: "kittiwake", Devices: []*manifest.Device{
		{ID: "radar", Model: "fennick-sweep-2", Version: "1.6", Serial: "R1"},
		{ID: "flybridge", Model: "fennick-plot-12", Version: "4.0"},
		{ID: "pilot", Model: "solveld-course-3", Version: "5.0"},
	}}
}

func device(id, model string, v version.V) Device {
	return Device{Device: ledger.Device{ID: id, Model: model}, Version: v}
}

// Nothing is planned by guess: what nobody can be sure of has no version in memory;
// the file that is read stays as it was.
func TestWhatNobodyIsSureOfHasNoVersion(t *testing.T) {
	disputed := device("radar", "fennick-sweep-2", "1.6")
	disputed.Other = "1.8"
	failed := device("flybridge", "fennick-plot-12", "4.0")
	failed.How = FailedUnread
	otherModel := device("pilot", "solveld-course-2", "5.0")
	otherModel.Other = "4.0"
	v := aboard()
	j := Join(Vessel{Devices: []Device{disputed, failed, otherModel}}, v, nil)
	assert.Equal(t, version.V(version.Unknown), v.Device("radar").Version)
	assert.Equal(t, version.V(version.Unknown), v.Device("flybridge").Version)
	assert.Equal(t, version.V("1.6"), j.File.Device("radar").Version, "the file says so still")
}

// Where the file is only behind, the ledger counts; what a person wrote stays; where
// both moved nobody knows.
func TestWhichOfFileAndLedgerCounts(t *testing.T) {
	v := aboard()
	j := &Joined{File: copied(v), Differs: []FileDiffers{
		{Device: "radar", Key: VersionKey, Kind: Behind, File: "1.6", Ledger: "1.8"},
		{Device: "radar", Key: SerialKey, Kind: Behind, File: "R1", Ledger: "R2"},
		{Device: "flybridge", Key: VersionKey, Kind: ByHand, File: "4.0", Ledger: "3.1"},
		{Device: "pilot", Key: VersionKey, Kind: BothWays, File: "5.0", Ledger: "5.2"},
		{Device: "gone", Key: VersionKey, Kind: Behind, Ledger: "1.0"},
		{Device: "pilot", Key: AboardKey, Kind: Behind},
	}}
	j.bringInto(v)
	assert.Equal(t, version.V("1.8"), v.Device("radar").Version)
	assert.Equal(t, "R2", v.Device("radar").Serial)
	assert.Equal(t, version.V("4.0"), v.Device("flybridge").Version)
	assert.Equal(t, version.V(version.Unknown), v.Device("pilot").Version)
	assert.Len(t, j.FileBehind(), 4)
	assert.Len(t, j.FileByHand(), 2)
	assert.Equal(t, "1.6", string(j.File.Device("radar").Version))
}

// The gravest is reported first, and nothing about devices that aren't aboard.
func TestTheGravestIsToldFirst(t *testing.T) {
	v := aboard()
	radar := device("radar", "fennick-sweep-2", "1.8")
	radar.Open = []Open{{Kind: CheckNotDone}, {Kind: Failed}}
	gone := device("sounder", "fennick-sound-2", "2.1")
	gone.Open = []Open{{Kind: Failed}}
	j := &Joined{Vessel: Vessel{Devices: []Device{radar, gone}}, Differs: []FileDiffers{
		{Device: "radar", Key: VersionKey, Kind: BothWays, File: "1.6", Ledger: "1.8"},
		{Device: "radar", Key: SerialKey, Kind: ByHand, File: "R1", Ledger: "R2"},
		{Device: "radar", Key: PlaceKey, Kind: ByHand, File: "arch", Ledger: "mast"},
	}}
	open := j.OpenAboard(v)
	var kinds []OpenKind
	for _, o := range open {
		require.Equal(t, "radar", o.Device)
		kinds = append(kinds, o.Kind)
	}
	assert.Equal(t, []OpenKind{Failed, Disputed, NotNoted, CheckNotDone}, kinds, "two values by hand are one point")
	assert.Contains(t, open[2].What, "; ")
	assert.NotEmpty(t, open[1].Why)
}

// Of a vessel that the ledger was never asked about nothing is known.
func TestNothingIsKnownOfNoLedger(t *testing.T) {
	var j *Joined
	assert.Empty(t, j.OpenAboard(aboard()))
	assert.Empty(t, j.FileByHand())
	assert.Empty(t, j.FileBehind())
}
