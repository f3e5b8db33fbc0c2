package audit

import (
	"time"

	"cardwright/verify/ledger"
)

// Swing is a sea trial in a vessel's history.
type Swing struct {
	At     time.Time     `json:"at"`
	Event  ledger.ID     `json:"event"`
	Device string        `json:"device"`
	Visit  string        `json:"visit"`
	Trial  *ledger.Trial `json:"trial"` // nil: a swing that was noted by hand, with no values
}

// swingCheck is the check that a sea trial stands under.
const swingCheck = "compass swing"

// swings are the sea trials among lines, and the swings that passed and were
// noted by hand; what was corrected counts as corrected.
func swings(lines []Line) []Swing {
	all := []Swing{}
	for _, l := range lines {
		says := l.Entry.Says()
		if l.CorrectedBy != "" || says == nil || says.Check == nil || says.Check.Check != swingCheck {
			continue
		}
		if says.Check.Trial == nil && says.Kind != ledger.CheckPassed {
			continue
		}
		all = append(all, Swing{says.At, l.Event, says.Check.Device.ID, says.Visit, says.Check.Trial})
	}
	return all
}
