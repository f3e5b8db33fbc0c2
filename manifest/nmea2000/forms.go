package nmea2000

import (
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Forms are the forms of capture that are read, for people.
var Forms = []string{
	"candump's log: (1.5) can0 09F20100#0011223344556677, or its screen",
	"a line for each frame: 00:54:47.930 R 19F01444 C0 86 34 08 BC 04 50 4C",
	"a .trc trace of a CAN monitor, 1.0 to 2.1",
	"CSV with a heading line: id, or pgn and source; data, or a column for each byte",
	"the plain lines of canboat's tools: 2026-03-02-10:00:00.000,6,126996,35,255,8,40,86,…",
	"a line for each message: A000057.055 09FF7 0FF00 3F9FDCFFFFFFFFFF",
}

// parseTimed reads 00:54:47.930 R 19F01444 C0 86 34; ok is false where the line isn't
// of this form.
func parseTimed(words []string) (f frame, what kind, ok bool) {
	if len(words) < 3 || (words[1] != "R" && words[1] != "T") || len(words[2]) != 8 {
		return f, isBad, false
	}
	at, isTime := clock(words[0])
	if !isTime {
		return f, isBad, false
	}
	f.at = at
	f, what = f.withHex(words[2], strings.Join(words[3:], ""), -1)
	return f, what, true
}

// clock reads hh:mm:ss.sss as seconds.
func clock(text string) (float64, bool) {
	parts := strings.Split(text, ":")
	if len(parts) != 3 {
		return 0, false
	}
	sum := 0.0
	for _, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || v < 0 || v >= 100 || math.IsNaN(v) {
			return 0, false
		}
		sum = 60*sum + v
	}
	return sum, true
}

// parseTrace reads a line of a .trc trace: a number, milliseconds, then in an order
// that the versions of the form have each for themselves a direction, a kind,
// an identifier of eight digits, a length and that many bytes.
func parseTrace(words []string) (f frame, what kind, ok bool) {
	f.at = math.NaN()
	if len(words) < 4 {
		return f, isBad, false
	}
	number := strings.TrimSuffix(words[0], ")")
	if _, err := strconv.ParseUint(number, 10, 63); err != nil {
		return f, isBad, false
	}
	ms, err := strconv.ParseFloat(words[1], 64)
	if err != nil || math.IsNaN(ms) || math.IsInf(ms, 0) || (number == words[0] && !strings.Contains(words[1], ".")) {
		return f, isBad, false
	}
	f.at = ms / 1000
	rest := words[2:]
	i := slices.IndexFunc(rest, func(w string) bool { return len(w) == 8 && isHex(w) })
	if i < 0 { // an 11-bit frame, a change of state, an error
		return f, isOther, true
	}
	id := rest[i]
	if slices.ContainsFunc(rest, func(w string) bool { return w == "RR" || w == "RTR" || w == "FD" || w == "FB" || w == "ER" }) {
		return f, isOther, true
	}
	tail := slices.DeleteFunc(slices.Clone(rest[i+1:]), func(w string) bool { return w == "Rx" || w == "Tx" || w == "-" })
	if len(tail) == 0 || len(tail[0]) != 1 {
		return f, isBad, true
	}
	n, err := strconv.Atoi(tail[0])
	if err != nil || n > maxFrame || len(tail) < 1+n {
		return f, isBad, true
	}
	f, what = f.withHex(id, strings.Join(tail[1:1+n], ""), n)
	return f, what, true
}

func isHex(s string) bool {
	return s != "" && strings.Trim(s, "0123456789abcdefABCDEF") == ""
}

// parseMessage reads a message on a line: A000057.055, source, destination and priority
// in five digits, the PGN in five, and the bytes of the whole message.
func parseMessage(words []string) (f frame, what kind, ok bool) {
	if len(words) < 3 || len(words[0]) < 7 || words[0][0] != 'A' || len(words[1]) != 5 || len(words[2]) != 5 {
		return f, isBad, false
	}
	stamp := words[0][1:]
	if strings.Trim(stamp, "0123456789.") != "" || !isHex(words[1]) || !isHex(words[2]) {
		return f, isBad, false
	}
	f.at = math.NaN()
	if at, isTime := clock(stamp[:2] + ":" + stamp[2:4] + ":" + stamp[4:]); isTime {
		f.at = at
	}
	source, _ := strconv.ParseUint(words[1][:2], 16, 8) // both are hex
	pgn, _ := strconv.ParseUint(words[2], 16, 32)
	data, err := hex.DecodeString(strings.Join(words[3:], ""))
	switch {
	case err != nil || len(data) > maxFast:
		return f, isBad, true
	case pgn > lastPGN:
		return f, isOther, true
	}
	f.pgn, f.source, f.data = uint32(pgn), uint8(source), data
	return f, isFrame, true
}

// lastPGN is the greatest number of a group; gateways use greater ones for what
// they say of themselves.
const lastPGN = 0x3FFFF

// wordsOnly reports whether a line has nothing in it that a frame could be: no
// long number in hex, no run of bytes.
func wordsOnly(line string) bool {
	bytes := 0
	for _, w := range strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(" \t,;#\r\n", r) }) {
		w = strings.TrimPrefix(strings.TrimPrefix(w, "0x"), "0X")
		switch {
		case isHex(w) && len(w) >= 7 && strings.ContainsAny(w, "0123456789"):
			return false
		case isHex(w) && len(w) == 2:
			if bytes++; bytes > 2 {
				return false
			}
		default:
			bytes = 0
		}
	}
	return !strings.ContainsAny(line, "#[")
}
