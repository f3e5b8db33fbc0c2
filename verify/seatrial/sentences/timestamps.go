package sentences

import (
	"bytes"
	"time"
)

// stampOf reads what is before a sentence: a TAG block, or a time in one of
// the forms that logging programs write. ok is false where it can't be read.
// dated reports whether it is a moment, not only a time of the day.
func stampOf(text []byte) (seconds float64, dated, ok bool) {
	if text[0] == '\\' {
		return tagBlock(text)
	}
	text = bytes.Trim(text, " \t[](){}<>,;|:\"'=")
	if len(text) == 0 {
		return 0, false, false
	}
	if s, dated, ok := moment(text); ok {
		return s, dated, true
	}
	for _, cut := range []string{";", "|", "\t", ",", " "} { // a stamp with a name next to it
		if i := bytes.IndexByte(text, cut[0]); i > 0 {
			if s, dated, ok := moment(bytes.Trim(text[:i], " []()\"'")); ok {
				return s, dated, true
			}
			last := bytes.LastIndexByte(text, cut[0])
			if s, dated, ok := moment(bytes.Trim(text[last+1:], " []()\"'")); ok {
				return s, dated, true
			}
		}
	}
	return 0, false, false
}

// tagBlock reads the time of a TAG block (NMEA 0183 4.0): \c:1577836800*5A\,
// in seconds or, as some write it, in thousandths.
func tagBlock(text []byte) (float64, bool, bool) {
	for part := range bytes.SplitSeq(bytes.Trim(text, "\\"), []byte{','}) {
		rest, found := bytes.CutPrefix(part, []byte("c:"))
		if !found {
			continue
		}
		if i := bytes.IndexByte(rest, '*'); i >= 0 {
			rest = rest[:i]
		}
		return epoch(rest)
	}
	return 0, false, false
}

// epoch reads seconds since 1970, or thousandths, millionths or billionths of
// them, by their size; a small number is seconds since some start.
func epoch(text []byte) (seconds float64, dated, ok bool) {
	v, s := longNumber(text)
	if !s || v < 0 {
		return 0, false, false
	}
	for _, unit := range []float64{1e17, 1e14, 1e11} {
		if v >= unit {
			return v / (unit / 1e8), true, true
		}
	}
	const year1990 = 631152000
	return v, v >= year1990, true
}

// longNumber reads up to 19 digits before the point.
func longNumber(text []byte) (float64, bool) {
	const most = 30
	whole, rest, _ := bytes.Cut(text, []byte{'.'})
	if len(whole) == 0 || len(text) > most {
		return 0, false
	}
	v, scale := 0.0, 1.0
	for _, c := range whole {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + float64(c-'0')
	}
	for _, c := range rest {
		if c < '0' || c > '9' {
			return 0, false
		}
		scale /= 10
		v += scale * float64(c-'0')
	}
	return v, true
}

// moment reads one word or two as a time.
func moment(text []byte) (seconds float64, dated, ok bool) {
	if s, dated, ok := epoch(text); ok {
		return s, dated, ok
	}
	const longest = 40
	if len(text) > longest || len(text) < 8 {
		return 0, false, false
	}
	word := string(text)
	for _, layout := range []string{
		time.RFC3339Nano, "2006-01-02T15:04:05.999999999", "2006-01-02 15:04:05.999999999",
		"2006-01-02 15:04:05,999999999", "2006/01/02 15:04:05.999999999", "2006-01-02 15:04:05.999999999Z07:00",
		"20060102T150405.999999999Z",
	} {
		if t, err := time.Parse(layout, word); err == nil {
			return float64(t.UnixNano()) / 1e9, t.Year() > 1, true
		}
	}
	for _, layout := range []string{"15:04:05.999999999", "15:04:05,999999999"} {
		if t, err := time.Parse(layout, word); err == nil {
			return float64(t.Hour()*3600+t.Minute()*60+t.Second()) + float64(t.Nanosecond())/1e9, false, true
		}
	}
	return 0, false, false
}
