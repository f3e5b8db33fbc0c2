package nmea2000_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/nmea2000"
)

func read(t testing.TB, text string) *nmea2000.Network {
	t.Helper()
	n, err := nmea2000.ReadCapture(context.Background(), "capture", strings.NewReader(text))
	require.NoError(t, err)
	return n
}

func testdata(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	return string(text)
}

// The frames in testdata/frames-*.log were made by canboatjs 3.20.0
// (pgnToCandump1 to 3, definitions of canboat 6.2.0) from these values of our
// own. Each is one way in which candump and its relatives write frames.
func TestAgainstCanboat(t *testing.T) {
	want := []nmea2000.Seen{
		{Address: 2, Name: 0xc05182_00_fa0003ea, Product: nmea2000.Product{Database: 1300, Code: 66, Model: "FIX 2 HEADING", Software: "1.4 build 9", Hardware: "rev C", Serial: "40077", Certification: 0, Load: 1}, Times: 1},
		{Address: 7, Name: 0xc05182_00_fa0003ef, Product: nmea2000.Product{Database: 2000, Code: 503, Model: "COURSE 3", Software: "5.2", Serial: "31502", Load: 2}, Times: 1},
		{Address: 35, Name: 0xc05182_00_fa00040b, Product: nmea2000.Product{Database: 2100, Code: 1212, Model: "PLOT 12", Software: "3.1-40", Hardware: "MK1", Serial: "F12-00231", Certification: 1, Load: 3}, Times: 1},
		{Address: 36, Name: 0xc05182_00_fa00040c, Product: nmea2000.Product{Database: 2100, Code: 1212, Model: "PLOT 12", Software: "3.1-40", Hardware: "MK1", Serial: "F12-00232", Certification: 1, Load: 3}, Times: 1},
	}
	for _, name := range []string{"frames-1.log", "frames-2.log", "frames-3.log"} {
		n := read(t, testdata(t, name))
		assert.Equal(t, want, n.Devices, name)
		assert.Equal(t, 84, n.Frames)
		assert.True(t, n.Whole())
	}
	assert.EqualValues(t, 2000, want[0].Name.Manufacturer())
	assert.EqualValues(t, 1002, want[0].Name.Unique())
}

// can-utils itself (Debian: can-utils) reads our log and writes it back, in
// candump's form.
func TestAgainstCanUtils(t *testing.T) {
	text := testdata(t, "frames-3.log")
	asc := pipe(t, text, "log2asc", "slcan0")
	log := pipe(t, string(asc), "asc2log")
	assert.Equal(t, 84, strings.Count(string(log), "#"))
	assert.Equal(t, read(t, text).Devices, read(t, string(log)).Devices)
	long := pipe(t, string(log), "log2long")
	assert.Equal(t, read(t, text).Devices, read(t, string(long)).Devices)
}

func pipe(t *testing.T, in, tool string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(tool, args...)
	cmd.Stdin = strings.NewReader(in)
	out, err := cmd.Output()
	require.NoError(t, err, "%s (Debian: can-utils)", tool)
	return out
}

// message is a product's frames, by the rules in the package's comment.
type parseMessage struct {
	source   byte
	sequence byte
	model    string
	version  string
	serial   string
}

func (m parseMessage) payload() []byte {
	b := bytes.Repeat([]byte{0xFF}, 134)
	copy(b, []byte{0x34, 0x08, 0xBC, 0x04})
	for at, text := range map[int]string{4: m.model, 36: m.version, 68: "MK1", 100: m.serial} {
		copy(b[at:], text)
	}
	b[132], b[133] = 1, 3
	return b
}

func (m parseMessage) frames() []string {
	p := m.payload()
	var all []string
	for n := 0; len(p) > 0; n++ {
		data := []byte{m.sequence<<5 | byte(n)}
		size := 7
		if n == 0 {
			data, size = append(data, byte(len(p))), 6
		}
		size = min(size, len(p))
		data = append(data, p[:size]...)
		p = p[size:]
		for len(data) < 8 {
			data = append(data, 0xFF)
		}
		all = append(all, m.line(float64(n)*0.001, data))
	}
	return all
}

func (m parseMessage) line(at float64, data []byte) string {
	return fmt.Sprintf("(%.6f) can0 %08X#%X", 100+at, uint32(6)<<26|126996<<8|uint32(m.source), data)
}

var (
	helm  = parseMessage{source: 35, sequence: 2, model: "PLOT 12", version: "3.1-40", serial: "F12-00231"}
	other = parseMessage{source: 36, sequence: 2, model: "PLOT 12", version: "3.1-40", serial: "F12-00232"}
)

func models(n *nmea2000.Network) (all []string) {
	for _, d := range n.Devices {
		all = append(all, fmt.Sprintf("%d %s %s %s", d.Address, d.Product.Model, d.Product.Software, d.Product.Serial))
	}
	return all
}

func text(lines ...string) string { return strings.Join(lines, "\n") + "\n" }

const (
	helmSeen  = "35 PLOT 12 3.1-40 F12-00231"
	otherSeen = "36 PLOT 12 3.1-40 F12-00232"
)

// Frames of several senders and sequences between one another.
func TestInterleaved(t *testing.T) {
	a, b := helm.frames(), other.frames()
	second := helm
	second.sequence = 3
	c := second.frames()
	var lines []string
	for i := range a {
		lines = append(lines, a[i], b[i], c[i])
	}
	n := read(t, text(lines...))
	assert.Equal(t, []string{helmSeen, otherSeen}, models(n))
	assert.Equal(t, 2, n.Devices[0].Times)
	assert.True(t, n.Whole())
}

// A missing frame, at each place: the message is lost, reported, and nothing is
// taken from it; the next one is read.
func TestMissing(t *testing.T) {
	all := helm.frames()
	for i := range all {
		lines := append(append([]string{}, all[:i]...), all[i+1:]...)
		n := read(t, text(lines...))
		assert.Empty(t, n.Devices, "without frame %d", i)
		if i > 0 {
			assert.Equal(t, 1, n.Broken.Messages(), "without frame %d", i)
		} else {
			assert.Equal(t, len(all)-1, n.Broken.NoStart)
		}
		again := helm
		again.sequence = 4
		n = read(t, text(append(lines, again.frames()...)...))
		assert.Equal(t, []string{helmSeen}, models(n))
	}
}

// The end of one message never completes another of the same sequence, though
// the frames in between are lost.
func TestNeverJoinsTwo(t *testing.T) {
	newer := helm
	newer.version = "4.0-12"
	a, b := helm.frames(), newer.frames()
	for i := 1; i < len(a); i++ {
		late := make([]string, 0, len(b)-i)
		for _, line := range b[i:] {
			late = append(late, strings.Replace(line, "(100.", "(107.", 1))
		}
		n := read(t, text(append(append([]string{}, a[:i]...), late...)...))
		assert.Empty(t, n.Devices, "from frame %d", i)
		assert.False(t, n.Whole())
	}
}

func TestDoubled(t *testing.T) {
	var lines []string
	for _, l := range helm.frames() {
		lines = append(lines, l, l)
	}
	n := read(t, text(lines...))
	assert.Equal(t, []string{helmSeen}, models(n))
	assert.Equal(t, 19, n.Broken.Doubled, "the last one's double comes behind the end")

	all := helm.frames()
	lines = append(append(append([]string{}, all[:5]...), strings.Replace(all[4], "#44FF", "#4400", 1)), all[5:]...)
	n = read(t, text(lines...))
	assert.Empty(t, n.Devices)
	assert.Equal(t, 1, n.Broken.Repeated)
}

// Frames without end, lengths that can't be, a message begun again and again:
// bounded, and reported.
func TestEndless(t *testing.T) {
	var lines []string
	for i := range 5000 {
		m := parseMessage{source: byte(i % 250), sequence: byte(i % 8)}
		lines = append(lines, m.line(0, []byte{m.sequence<<5 | byte(i%31+1), 1, 2, 3, 4, 5, 6, 7}), m.frames()[0])
	}
	for _, length := range []byte{0, 1, 6, 224, 255} {
		lines = append(lines, helm.line(0, []byte{0, length, 1, 2, 3, 4, 5, 6}))
	}
	lines = append(lines, helm.line(0, []byte{0x60}), helm.line(0, []byte{0x60, 134, 1}))
	n := read(t, text(lines...))
	assert.Empty(t, n.Devices)
	assert.Equal(t, len(lines), n.Frames)
	assert.GreaterOrEqual(t, n.Broken.Lengths, 7)
	assert.Positive(t, n.Broken.Cut)

	short := helm.frames()
	short[0] = strings.Replace(short[0], "4086", "4064", 1) // 100 bytes: whole, and too short for a product
	n = read(t, text(short...))
	assert.Empty(t, n.Devices)
	assert.Equal(t, 1, n.Broken.Lengths)
}

// An address that another device claims; a device that moves to another.
func TestAddressesChange(t *testing.T) {
	claim := func(source byte, unique byte) string {
		return fmt.Sprintf("(1.0) can0 18EEFF%02X#%02X0400FA008251C0", source, unique)
	}
	moved := other
	moved.source = 35
	n := read(t, text(append(append([]string{claim(35, 1)}, helm.frames()...), append([]string{claim(35, 2)}, moved.frames()...)...)...))
	assert.Equal(t, []string{helmSeen, strings.Replace(otherSeen, "36", "35", 1)}, models(n), "two devices, one address")

	there := helm
	there.source, there.sequence = 99, 5
	n = read(t, text(append(append(append([]string{claim(35, 1)}, helm.frames()...), claim(99, 1)), there.frames()...)...))
	assert.Equal(t, []string{strings.Replace(helmSeen, "35", "99", 1)}, models(n), "one device, two addresses")
	assert.Equal(t, 2, n.Devices[0].Times)

	n = read(t, claim(35, 1)+"\n"+claim(254, 3)+"\n")
	assert.Empty(t, n.Devices)
	assert.Equal(t, 1, n.Silent)

	other := helm
	other.version = "4.0-12"
	n = read(t, text(append(helm.frames(), other.frames()...)...))
	require.Len(t, n.Devices, 1)
	assert.True(t, n.Devices[0].Unclear, "it announced different things")
}

// The same frames in CSV, with the headings that are in use.
func TestCSV(t *testing.T) {
	csv := func(heading, form string) string {
		var b strings.Builder
		b.WriteString(heading + "\n")
		for i, line := range helm.frames() {
			id, data, _ := strings.Cut(strings.Fields(line)[2], "#")
			var parts [8]any
			for k := range parts {
				parts[k] = data[2*k : 2*k+2]
			}
			switch form {
			case "cells":
				fmt.Fprintf(&b, "%d,%s,true,0,8,%s,%s,%s,%s,%s,%s,%s,%s\n", append([]any{i, id}, parts[:]...)...)
			case "spaces":
				fmt.Fprintf(&b, "%d.5;0x%s;\"%s %s %s %s %s %s %s %s\"\n", append([]any{i / 100, strings.ToLower(id)}, parts[:]...)...)
			case "pgn":
				fmt.Fprintf(&b, "%d\t126996\t35\t%s\n", i/100, data)
			case "canboat":
				fmt.Fprintf(&b, "2026-11-25-10:00:00.%03d,6,126996,35,255,8,%s,%s,%s,%s,%s,%s,%s,%s\n", append([]any{i}, parts[:]...)...)
			}
		}
		return b.String()
	}
	for name, c := range map[string]string{
		"cells":   csv("Time Stamp,ID,Extended,Bus,LEN,D1,D2,D3,D4,D5,D6,D7,D8", "cells"),
		"from 0":  csv("time,can_id,is_extended,channel,dlc,data0,data1,data2,data3,data4,data5,data6,data7", "cells"),
		"spaces":  csv("\ufefftimestamp;arbitration_id;data", "spaces"),
		"pgn":     csv("t\tPGN\tSource\tPayload", "pgn"),
		"canboat": csv("# a comment", "canboat"),
	} {
		n := read(t, c)
		assert.Equal(t, []string{helmSeen}, models(n), name)
		assert.True(t, n.Whole(), "%s: %+v", name, n.Faults)
	}
	whole := "2026-11-25-10:00:00.000,6,126996,35,255,134"
	for _, b := range helm.payload() {
		whole += fmt.Sprintf(",%02x", b)
	}
	assert.Equal(t, []string{helmSeen}, models(read(t, whole+"\n")), "joined by the tool")
}

// What isn't a frame of the network is left out; what can't be understood is
// reported with its line.
func TestLines(t *testing.T) {
	n := read(t, text(
		"# comment", "", "(1.0) can0 123#0011", "(1.0) can0 09F20100##0112233", "(1.0) can0 09F20100#R8", "(1.0) can0 20000004#0000000000000000",
		" can0  1F2   [2]  00 11", " can0  09F20100   [12]  00 11", " can0  09F20100   [8]  remote request", "(1.0)  can0  09F20100   [2]  00 11   '..'",
		"(1.0) can0 09F20100#00.11.22", "(1.0) can0 09F20100#0011 R", "(2026-11-25 10:00:00.5) can0 09F20100#0011",
	))
	assert.Zero(t, n.Bad, "%+v", n.Faults)
	assert.Equal(t, 4, n.Frames)
	n = read(t, text("(1.0) can0 09F20100#001", "(1.0 can0 09F20100#00", "can0", "(1.0) can0 09F20100#00112233445566778899", " can0 09F20100 [4] 00 11", "a,b,c\x1b[2J", strings.Repeat("x", nmea2000.MaxLine+9)))
	assert.Equal(t, 7, n.Bad)
	assert.Equal(t, 7, n.Lines)
	assert.Equal(t, "a,b,c\x1b[2J", n.Faults[5].Text)
	for range 30 {
		n = read(t, strings.Repeat("what\n", 50))
	}
	assert.Len(t, n.Faults, nmea2000.MaxFaults)
	assert.Equal(t, 50, n.Bad)
}

// Texts of strangers come through as they are, and are never taken for more.
func TestTexts(t *testing.T) {
	m := helm
	for _, c := range []struct{ raw, want string }{
		{"PLOT 12@@@@", "PLOT 12"},
		{"PLOT 12    ", "PLOT 12"},
		{"PLOT 12\x00rest", "PLOT 12"},
		{"\xff\xff", ""},
		{"a@b", "a@b"},
		{"PLOT\xe912", "PLOT\u00e912"},
		{"\x1b[2J", "\x1b[2J"},
		{strings.Repeat("x", 32), strings.Repeat("x", 32)},
	} {
		m.model = c.raw
		assert.Equal(t, c.want, read(t, text(m.frames()...)).Devices[0].Product.Model)
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("no card") }

func TestReadErrors(t *testing.T) {
	_, err := nmea2000.ReadCapture(context.Background(), "c", io.MultiReader(strings.NewReader(text(helm.frames()...)), failing{}))
	require.ErrorContains(t, err, "reading capture c: no card")
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = nmea2000.ReadCapture(ctx, "c", strings.NewReader(text(helm.frames()...)))
	require.ErrorIs(t, err, context.Canceled)
}

// Whatever is lost, doubled or mixed: a reported device said exactly
// that, in one message.
func TestNothingIsMadeUp(t *testing.T) {
	all := append(append(helm.frames(), other.frames()...), parseMessage{source: 35, sequence: 2, model: "PLOT 12", version: "9", serial: "F12-00231"}.frames()...)
	rapid.Check(t, func(t *rapid.T) {
		keep := rapid.SliceOfN(rapid.IntRange(0, 9), len(all), len(all)).Draw(t, "keep")
		var lines []string
		for i, l := range all {
			switch {
			case keep[i] == 0:
			case keep[i] == 1:
				lines = append(lines, l, l)
			default:
				lines = append(lines, l)
			}
		}
		n, err := nmea2000.ReadCapture(context.Background(), "c", strings.NewReader(text(lines...)))
		require.NoError(t, err)
		for _, d := range n.Devices {
			seen := fmt.Sprintf("%d %s %s %s", d.Address, d.Product.Model, d.Product.Software, d.Product.Serial)
			require.Contains(t, []string{helmSeen, otherSeen, "35 PLOT 12 9 F12-00231"}, seen)
		}
	})
}

func FuzzCapture(f *testing.F) {
	f.Add([]byte(testdata(f, "frames-3.log")))
	f.Add([]byte(testdata(f, "frames-1.log")[:400]))
	f.Add([]byte("Time Stamp,ID,Extended,Bus,LEN,D1,D2,D3,D4,D5,D6,D7,D8\n1,19F01423,true,0,8,40,86,34,08,BC,04,50,4C\n"))
	f.Add([]byte("2026-11-25-10:00:00.000,6,126996,35,255,8,40,86,34,08,bc,04,50,4c\n"))
	f.Add([]byte(" can0  19F01423   [8]  40 86 34 08 BC 04 50 4C   '@.4...PL'\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		n, err := nmea2000.ReadCapture(context.Background(), "c", bytes.NewReader(data))
		require.NoError(t, err)
		require.LessOrEqual(t, len(n.Faults), nmea2000.MaxFaults)
		require.LessOrEqual(t, len(n.Devices), nmea2000.MaxDevices)
		require.LessOrEqual(t, n.Frames+n.Bad, n.Lines)
		for _, d := range n.Devices {
			require.LessOrEqual(t, len([]rune(d.Product.Model)), 32)
		}
		_, err = json.Marshal(n)
		require.NoError(t, err)
	})
}
