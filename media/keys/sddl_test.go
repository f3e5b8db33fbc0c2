package keys

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Access lists as Windows gives them, composed by the documentation of SDDL.
func TestWhoMayReadOnWindows(t *testing.T) {
	const me = "S-1-5-21-1-2-3-1001"
	for sddl, want := range map[string][]string{
		"O:" + me + "G:" + me + "D:P(A;;FA;;;" + me + ")":              nil,
		"D:AI(A;ID;FA;;;SY)(A;ID;FA;;;BA)(A;ID;FA;;;" + me + ")":       nil, // a user's own folder for settings
		"D:AI(A;ID;FA;;;SY)(A;ID;0x1200a9;;;BU)(A;ID;FA;;;" + me + ")": {"BU"},
		"D:(A;;FA;;;WD)":                           {"WD"},
		"D:(D;;FA;;;WD)(A;;FA;;;" + me + ")":       nil,
		"D:(A;OICIIO;FA;;;WD)(A;;FA;;;OW)":         nil,
		"D:(A;;FR;;;S-1-5-21-1-2-3-1002)":          {"S-1-5-21-1-2-3-1002"},
		"D:P(A;;FA;;;" + me + ")S:(AU;SA;FA;;;WD)": nil,
		"O:" + me:             {"everybody"},
		"D:NO_ACCESS_CONTROL": {"everybody"},
		"D:(A;;FA)":           {"somebody unknown"},
		"D:P":                 nil, // nobody at all
	} {
		assert.Equal(t, want, mayRead(sddl, me), sddl)
	}
}

func FuzzWhoMayRead(f *testing.F) {
	f.Add("D:AI(A;ID;FA;;;SY)(A;ID;0x1200a9;;;BU)", "S-1")
	f.Fuzz(func(t *testing.T, sddl, owner string) { mayRead(sddl, owner) })
}
