package survey_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
	"cardwright/manifest/survey"
)

// An answer changes what it says, and nothing that it leaves empty or says again.
func TestAnAnswerChangesWhatItSays(t *testing.T) {
	d := &manifest.Device{ID: "radar", Serial: "R1", Place: "arch", Version: "1.6"}
	assert.Empty(t, survey.Answer{}.Changes(d))
	assert.Empty(t, survey.Answer{Serial: "R1", Place: "arch", Version: "v1.6"}.Changes(d), "v1.6 is 1.6")
	assert.Equal(t, []survey.Change{
		{Device: "radar", Key: "serial", Was: "R1", Is: "R2"},
		{Device: "radar", Key: "version", Was: "1.6", Is: "1.8"},
		{Device: "radar", Key: "variant", Is: "eu"},
	}, survey.Answer{Serial: "R2", Version: "v1.8", Variant: "eu"}.Changes(d))
}

// The network changes versions and serials alone, and a version only for another.
func TestTheNetworkChangesVersionAndSerial(t *testing.T) {
	same := survey.Line{Device: "radar", Version: "1.8", Was: "1.8", Serial: "R1", WasSerial: "R1"}
	assert.Empty(t, same.Changes())
	unread := survey.Line{Device: "radar", Version: "1.8", Was: "unknown"}
	assert.Equal(t, []survey.Change{{Device: "radar", Key: "version", Was: "unknown", Is: "1.8"}}, unread.Changes())
	silent := survey.Line{Device: "radar", Was: "1.8", WasSerial: "R1"}
	assert.Empty(t, silent.Changes(), "what it doesn't say changes nothing")
	serial := survey.Line{Device: "radar", Version: "1.8", Was: "1.8", Serial: "R2", WasSerial: "R1"}
	assert.Equal(t, []survey.Change{{Device: "radar", Key: "serial", Was: "R1", Is: "R2"}}, serial.Changes())
	for state, unsure := range map[survey.State]bool{survey.Unclear: true, survey.UnknownModel: true, survey.Differs: true, survey.New: false} {
		assert.Equal(t, unsure, survey.Line{State: state}.Unsure(), state)
	}
}
