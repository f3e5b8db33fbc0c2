package survey_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
	"cardwright/manifest/nmea2000"
	"cardwright/manifest/survey"
)

func TestConclude(t *testing.T) {
	vessel := &manifest.Vessel{ID: "kittiwake"}
	whole := &nmea2000.Network{Frames: 10}
	lines := func(states ...survey.State) (all []survey.Line) {
		for _, s := range states {
			all = append(all, survey.Line{State: s})
		}
		return all
	}
	for _, c := range []struct {
		vessel  *manifest.Vessel
		network *nmea2000.Network
		lines   []survey.Line
		want    survey.State
	}{
		{vessel, whole, lines(survey.Same, survey.NotSeen), survey.Same},
		{vessel, whole, lines(survey.Same, survey.Unclear), survey.Unclear},
		{vessel, whole, lines(survey.UnknownModel), survey.Unclear},
		{vessel, whole, lines(survey.Unclear, survey.New), survey.Differs},
		{vessel, whole, lines(survey.Differs), survey.Differs},
		{vessel, &nmea2000.Network{}, lines(survey.NotSeen), survey.Unclear},
		{vessel, &nmea2000.Network{Frames: 10, Bad: 1}, lines(survey.Same), survey.Unclear},
		{nil, whole, lines(survey.New, survey.UnknownModel), survey.Same},
		{nil, &nmea2000.Network{Frames: 10, Left: 1}, nil, survey.Unclear},
	} {
		assert.Equal(t, c.want, survey.Conclude(c.vessel, c.network, c.lines), "%+v", c)
	}
}
