package survey

import (
	"cardwright/manifest"
	"cardwright/manifest/nmea2000"
)

// Conclude says of a whole capture how it goes together with a vessel's file: Differs
// where any device does, or isn't in the file; Unclear where some of the capture was
// lost, there was none, or a device can't be identified; else Same. Without a vessel only
// the capture itself counts. A device that wasn't seen may be switched off, and
// changes nothing.
func Conclude(vessel *manifest.Vessel, n *nmea2000.Network, lines []Line) State {
	state := Same
	if !n.Whole() || n.Frames == 0 {
		state = Unclear
	}
	if vessel == nil {
		return state
	}
	for _, l := range lines {
		switch l.State {
		case Differs, New:
			return Differs
		case Unclear, UnknownModel:
			state = Unclear
		}
	}
	return state
}
