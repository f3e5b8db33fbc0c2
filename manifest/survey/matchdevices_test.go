package survey_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gotest.tools/v3/golden"

	"cardwright/manifest"
	"cardwright/manifest/nmea2000"
	"cardwright/manifest/survey"
)

// shop is a shop whose catalogue knows what announces itself how.
func shop(t testing.TB) *manifest.Shop {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"shop.yaml":         "shop: Hollin Quay Marine Electrics\n",
		"catalogue/p.yaml":  "model: fennick-plot-12\nmaker: Fennick\nname: Plot 12\nkind: chart display\non_network: [PLOT 12]\nreleases:\n  - {version: 4.0-12, released: 2026-03-02}\n",
		"catalogue/f.yaml":  "model: solveld-fix-2\nmaker: Solveld\nname: Fix 2\nkind: heading sensor\non_network: [fix 2 heading]\nreleases:\n  - {version: \"1.4\", released: 2026-03-02}\n",
		"catalogue/c.yaml":  "model: solveld-course-3\nmaker: Solveld\nname: Course 3\nkind: autopilot computer\n",
		"vessels/k.yaml":    "vessel: kittiwake\nname: Kittiwake\ndevices:\n  - {id: flybridge, model: fennick-plot-12, serial: F12-00231, version: 3.0}\n  - {id: helm, model: fennick-plot-12, version: 3.1-40}\n  - {id: heading, model: solveld-fix-2, serial: \"40077\", version: \"1.4\"}\n  - {id: pilot, model: solveld-course-3, version: \"5.0\"}\n",
		"vessels/one.yaml":  "vessel: one\nname: One\ndevices:\n  - {id: a, model: fennick-plot-12, serial: F12-00001, version: 3.1-40}\n",
		"vessels/numb.yaml": "vessel: numbered\nname: Numbered\ndevices:\n  - {id: a, model: fennick-plot-12, serial: F1, version: 3.1-40}\n  - {id: b, model: fennick-plot-12, serial: F2, version: 3.1-40}\n",
		"vessels/two.yaml":  "vessel: two\nname: Two\ndevices:\n  - {id: a, model: fennick-plot-12, version: 3.0}\n  - {id: b, model: fennick-plot-12, version: 3.0}\n",
		"vessels/many.yaml": "vessel: many\nname: Many\ndevices:\n  - {id: a, model: fennick-plot-12, version: 3.0}\n  - {id: b, model: fennick-plot-12, version: 3.0}\n  - {id: c, model: fennick-plot-12, version: 3.0}\n",
	} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	s, err := manifest.Load(dir)
	require.NoError(t, err)
	return s
}

func TestCompare(t *testing.T) {
	s, n := shop(t), captured(t)
	var b bytes.Buffer
	for _, v := range []string{"kittiwake", "two", "many", ""} {
		fmt.Fprintf(&b, "%s\n", v)
		for _, l := range survey.Compare(s, s.Vessel(v), n) {
			fmt.Fprintf(&b, "  %-13s device %q model %q version %q (was %q) serial %q (was %q) %s\n", l.State, l.Device, l.Model, l.Version, l.Was, l.Serial, l.WasSerial, l.Why)
		}
	}
	golden.Assert(t, b.String(), "compare.golden")
}

// said is a capture in which devices say these products, one address each.
func said(t *testing.T, all ...nmea2000.Product) *nmea2000.Network {
	t.Helper()
	n := &nmea2000.Network{}
	for i, p := range all {
		n.Devices = append(n.Devices, nmea2000.Seen{Address: uint8(i + 1), Product: p, Times: 1})
	}
	return n
}

func plot12(version, serial string) nmea2000.Product {
	return nmea2000.Product{Model: "PLOT 12", Software: version, Serial: serial}
}

// Nobody's version is written to another device: what contradicts the file, or
// could be either of two, is reported and left.
func TestNeverTheWrongDevice(t *testing.T) {
	s := shop(t)
	for _, c := range []struct {
		name   string
		vessel string
		seen   []nmea2000.Product
		want   []string // device, state
	}{
		{"another serial", "one", []nmea2000.Product{plot12("4.0-12", "F12-00999")}, []string{"a differs: an exchanged device"}},
		{"another boat", "numbered", []nmea2000.Product{plot12("4.0-12", "X1"), plot12("4.0-12", "X2")}, []string{" unclear: several", " unclear: several", "a unclear: it may", "b unclear: it may"}},
		{"one serial twice", "numbered", []nmea2000.Product{plot12("4.0-12", "F1"), plot12("4.0-12", "F1")}, []string{" unclear: several devices announce this serial", " unclear: several devices announce this serial", "a unclear: it may", "b unclear: it may"}},
		{"a serial that is none", "one", []nmea2000.Product{plot12("4.0-12", "0"), plot12("3.1-40", "0"), plot12("4.0-12", "F7")}, []string{" unclear: several devices announce", " unclear: several devices announce", " unclear: several devices of", "a unclear: it may"}},
		{"cut short", "one", []nmea2000.Product{plot12("3.1", "F12-00001")}, []string{"a unclear: it announces 3.1, the file has 3.1-40"}},
		{"short of a release", "two", []nmea2000.Product{plot12("4.0", ""), plot12("4.0", "")}, []string{" unclear: several", " unclear: several", "a unclear: it may", "b unclear: it may"}},
		{"older than the file", "one", []nmea2000.Product{plot12("3.0", "F12-00001")}, []string{"a differs: "}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			for _, l := range survey.Compare(s, s.Vessel(c.vessel), said(t, c.seen...)) {
				got = append(got, fmt.Sprintf("%s %s: %s", l.Device, l.State, l.Why))
				assert.Equal(t, c.name == "older than the file", l.Writes(), got)
			}
			require.Len(t, got, len(c.want), "%q", got)
			for i, want := range c.want {
				assert.Contains(t, got[i], want)
			}
		})
	}

	// One that announced different things may be any of its model.
	n := said(t, plot12("4.0-12", "F12-00777"), plot12("4.0-12", "F12-00001"))
	n.Devices[0].Unclear = true
	lines := survey.Compare(s, s.Vessel("numbered"), n)
	for _, l := range lines {
		assert.Equal(t, survey.Unclear, l.State, "%s: %s", l.Device, l.Why)
	}

	// A short version isn't made a device's first either.
	assert.Empty(t, survey.Compare(s, nil, said(t, plot12("4.0", "F1")))[0].Version)
}

// captured is what frames-3.log, which canboat wrote, tells.
func captured(t *testing.T) *nmea2000.Network {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "nmea2000", "testdata", "frames-3.log"))
	require.NoError(t, err)
	defer f.Close()
	n, err := nmea2000.ReadCapture(t.Context(), "frames-3.log", f)
	require.NoError(t, err)
	return n
}

// A box that shows at two addresses is one device of the file.
func TestOneBoxIsOneDevice(t *testing.T) {
	s, n := shop(t), said(t, plot12("4.0-12", "F12-00231"))
	n.Devices[0].Also = []uint8{40}
	lines := survey.Compare(s, s.Vessel("kittiwake"), n)
	require.NotEmpty(t, lines)
	assert.Equal(t, "flybridge", lines[0].Device)
	assert.Equal(t, survey.Differs, lines[0].State)
}

func TestVersionFrom(t *testing.T) {
	s := shop(t)
	m := s.Model("fennick-plot-12")
	for _, c := range []struct{ pattern, text, want string }{
		{`^\S+ (\S+)$`, "01000_E 2.6.140", "2.6.140"},
		{`^(\d+)\s+\d+$`, "1100    130300", "1100"},
		{`^v(\S+)`, "2.6.140", ""},
		{"", "01000_E 2.6.140", ""},
	} {
		m.VersionFrom = c.pattern
		lines := survey.Compare(s, nil, said(t, plot12(c.text, "F12-00231")))
		assert.EqualValues(t, c.want, lines[0].Version, c.pattern)
		assert.Equal(t, c.text, lines[0].Seen.Product.Software, "the text as found")
		if c.want == "" {
			assert.Contains(t, lines[0].Why, "version_from")
		}
	}
	assert.Nil(t, manifest.Problem("Model.version_from", `^\S+ (\S+)$`))
	for _, bad := range []string{"no group", "(two) (groups)", "(", `(?:none)`} {
		assert.NotNil(t, manifest.Problem("Model.version_from", bad), bad)
	}
}

func TestNoLinesAreAList(t *testing.T) {
	out, err := json.Marshal(survey.Compare(shop(t), nil, &nmea2000.Network{}))
	require.NoError(t, err)
	assert.Equal(t, "[]", string(out))
}
