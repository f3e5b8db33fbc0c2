package known

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest/version"
)

// A device goes back to what the ledger says it ran before, and only where nobody can
// doubt which step brought what it runs now.
func TestRanBefore(t *testing.T) {
	for _, c := range []struct {
		name             string
		runs, before, is version.V // runs and before: of the ledger; the file has 1.6
	}{
		{"a step brought it", "1.6", "1.5", "1.5"},
		{"file and ledger differ", "1.8", "1.6", ""},
		{"no step", "1.6", "", ""},
		{"a step back brought it", "1.6", "1.8", ""},
	} {
		radar := device("radar", "fennick-sweep-2", c.runs)
		radar.Before = c.before
		v := Vessel{Devices: []Device{radar}}
		assert.Equal(t, c.is, v.RanBefore(aboard().Device("radar")), c.name)
		assert.Empty(t, v.RanBefore(aboard().Device("pilot")), "%s: the ledger doesn't know the pilot", c.name)
	}
}
