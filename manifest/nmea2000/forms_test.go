package nmea2000_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/nmea2000"
)

// parts of a log line of helm: its time in seconds, identifier, bytes.
func frameParts(line string) (id string, data []string) {
	id, hex, _ := strings.Cut(strings.Fields(line)[2], "#")
	for ; hex != ""; hex = hex[2:] {
		data = append(data, hex[:2])
	}
	return id, data
}

// The same frames in forms that gateways and CAN monitors write (their public
// documentation; no source beside it for the versions of .trc but theirs).
func TestMoreForms(t *testing.T) {
	form := func(head string, line func(i int, id string, data []string) string) string {
		out := head
		for i, l := range helm.frames() {
			id, data := frameParts(l)
			out += line(i, id, data) + "\r\n"
		}
		return out
	}
	whole := "A000057.055 23FF6 1F014 "
	for _, b := range helm.payload() {
		whole += fmt.Sprintf("%02X", b)
	}
	for name, capture := range map[string]string{
		"time, direction": form("", func(i int, id string, d []string) string {
			return fmt.Sprintf("00:54:47.%03d R %s %s", i, id, strings.Join(d, " "))
		}),
		"trc 1.1": form(";$FILEVERSION=1.1\r\n;$STARTTIME=43780.3\r\n;\r\n;   Message Number\r\n;---+--   ----+----  --+--  ----+---  +  -+ -- -- --\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("%6d) %11.1f  Rx     %s  8  %s ", i+1, 100+float64(i), id, strings.Join(d, " "))
		}),
		"trc 1.3": form(";$FILEVERSION=1.3\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("%6d) %11.3f 1  Rx     %s -  8    %s ", i+1, 100+float64(i), id, strings.Join(d, " "))
		}),
		"trc 2.0": form(";$FILEVERSION=2.0\r\n;$COLUMNS=N,O,T,I,d,l,D\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("%7d %13.3f DT %s Rx 8  %s ", i+1, 100+float64(i), id, strings.Join(d, " "))
		}),
		"trc 2.1": form(";$FILEVERSION=2.1\r\n;$COLUMNS=N,O,T,B,I,d,R,L,D\r\n      1       0.500 DT 1     0300 Rx -  3    00 00 00\r\n      2       0.600 ST 1          Rx       00 00 00 00\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("%7d %13.3f DT 1 %s Rx -  8    %s ", i+3, 100+float64(i), id, strings.Join(d, " "))
		}),
		"0x cells": form("Time,ID,DLC,D0,D1,D2,D3,D4,D5,D6,D7\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("0.%03d,0x%s,8,0x%s", i, id, strings.Join(d, ",0x"))
		}),
		"0x in one cell": form("Timestamp;CAN ID;Data\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("0.%03d;0x%s;0x%s", i, id, strings.Join(d, " 0x"))
		}),
		"0x cells below one heading": form("time,id,len,data\r\n", func(i int, id string, d []string) string {
			return fmt.Sprintf("0.%03d,0x%s,8,0x%s", i, id, strings.Join(d, ",0x"))
		}),
		"pgn in hex": form("time,pgn,src,data\r\n", func(i int, _ string, d []string) string {
			return fmt.Sprintf("0.%03d,0x1F014,0x23,%s", i, strings.Join(d, ""))
		}),
		"message on a line": whole + "\r\nA000057.155 09FF7 0FF00 3F9FDCFFFFFFFFFF\r\n",
	} {
		n := read(t, capture)
		assert.Equal(t, []string{helmSeen}, models(n), name)
		assert.True(t, n.Whole(), "%s: %+v", name, n.Faults)
	}
}

// Lines that are no frame and no damage: what gateways and programs say.
func TestHarmlessLines(t *testing.T) {
	frames := helm.frames()
	lines := append([]string{"Gateway firmware, ready", "candump listening on can0"}, frames...)
	n := read(t, text(lines...))
	assert.Equal(t, []string{helmSeen}, models(n))
	assert.True(t, n.Whole(), "%+v", n.Faults)
	assert.Equal(t, 2, n.Words)

	gateway := "2026-11-25-10:00:00.000,6,126996,35,255,134"
	for _, b := range helm.payload() {
		gateway += fmt.Sprintf(",%02x", b)
	}
	n = read(t, text("2026-11-25-10:00:00.000,0,262386,0,255,3,01,02,03", gateway))
	assert.Equal(t, []string{helmSeen}, models(n))
	assert.True(t, n.Whole(), "%+v", n.Faults)

	n = read(t, text(append(frames[:3:3], "(1.0) can0 19F01423#4", frames[3])...))
	assert.Equal(t, 1, n.Bad, "half a frame is damage")
}

func TestShortProduct(t *testing.T) {
	m := helm
	frames := m.frames()
	frames[0] = strings.Replace(frames[0], "4086", "4084", 1) // 132 bytes: load and certification left out
	n := read(t, text(frames...))
	assert.Equal(t, []string{helmSeen}, models(n))
	assert.True(t, n.Whole())
	assert.Zero(t, n.Devices[0].Product.Load)
}

func TestOneBox(t *testing.T) {
	claim := func(source, unique, maker byte) string {
		return fmt.Sprintf("(1.0) can0 18EEFF%02X#%02X0400%02X008251C0", source, unique, maker)
	}
	twin := helm
	twin.source, twin.sequence = 40, 5
	lines := append([]string{claim(35, 1, 0xFA), claim(40, 2, 0xFA)}, append(helm.frames(), twin.frames()...)...)
	n := read(t, text(lines...))
	require.Len(t, n.Devices, 1)
	assert.Equal(t, []uint8{40}, n.Devices[0].Also)

	lines[1] = claim(40, 2, 0xFB)
	assert.Len(t, read(t, text(lines...)).Devices, 2, "another maker's")
	for _, serial := range []string{"0", "00000000", "12345678", ""} {
		a, b := helm, twin
		a.serial, b.serial = serial, serial
		lines = append([]string{claim(35, 1, 0xFA), claim(40, 2, 0xFA)}, append(a.frames(), b.frames()...)...)
		assert.Len(t, read(t, text(lines...)).Devices, 2, "%q tells none apart", serial)
	}
}

func TestMessages(t *testing.T) {
	var pgns []uint32
	fast := map[uint32]bool{126996: true}
	capture := text(append([]string{"(1.5) can0 09F11200#FF1234FFFFFFFF7F"}, helm.frames()...)...)
	r, err := nmea2000.Messages(context.Background(), "c", strings.NewReader(capture), fast, func(m nmea2000.Message) {
		pgns = append(pgns, m.PGN)
		if m.PGN == 126996 {
			assert.Equal(t, helm.payload(), m.Data)
		}
	})
	require.NoError(t, err)
	assert.Equal(t, []uint32{127250, 126996}, pgns)
	assert.Equal(t, nmea2000.Counts{Lines: 21, Frames: 21}, r)
}
