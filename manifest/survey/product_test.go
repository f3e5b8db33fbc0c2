package survey_test

import (
	"context"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/nmea2000"
	"cardwright/manifest/survey"
)

// FuzzProduct: whatever a device says of itself, its texts fit their fields,
// and what is taken over into a vessel's file may stand there.
func FuzzProduct(f *testing.F) {
	f.Add([]byte(strings.Repeat("\xff", 134)))
	f.Add([]byte("\x34\x08\xbc\x04" + fmt.Sprintf("%-32s%-32s%-32s%-32s", "PLOT 12", "4.0-12 b2", "", "F12-00231") + "\x02\x01"))
	f.Add([]byte("\x34\x08\xbc\x04" + fmt.Sprintf("%-32s%-32s%-32s%-32s", "plot 12@@@", "v4.0", "\x1b[2J", "a\x00b") + "\x02\x01"))
	s := shop(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 223 {
			return
		}
		line := fmt.Sprintf("1.0,6,126996,35,255,%d,%s\n", len(data), hex.EncodeToString(data))
		n, err := nmea2000.ReadCapture(context.Background(), "c", strings.NewReader(line))
		require.NoError(t, err)
		for _, d := range n.Devices {
			for _, text := range []string{d.Product.Model, d.Product.Software, d.Product.Hardware, d.Product.Serial} {
				require.LessOrEqual(t, len([]rune(text)), 32)
				require.NotContains(t, text, "\x00")
				require.Equal(t, strings.TrimSpace(text), text)
			}
		}
		for _, v := range []string{"kittiwake", "two", ""} {
			for _, l := range survey.Compare(s, s.Vessel(v), n) {
				if l.Seen == nil {
					continue
				}
				require.True(t, l.Serial == "" || manifest.Problem("Device.serial", l.Serial) == nil, "%q", l.Serial)
				require.True(t, l.Version == "" || manifest.Problem("Device.version", string(l.Version)) == nil, "%q", l.Version)
			}
		}
	})
}
