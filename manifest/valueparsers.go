package manifest

import (
	"reflect"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/pattern"
	"cardwright/manifest/version"
)

// parser reads one kind of value from its text.
type parser struct {
	name     string // what a text that it refuses is not
	expected string
	parse    func(string) (any, error)
	hint     func(string) string // what was perhaps meant, or ""
}

var parsers = map[reflect.Type]parser{
	versionType: {
		"a version", `a version as the device shows it, such as "4.0-12"`,
		func(s string) (any, error) { return version.Parse(s) }, noHint,
	},
	rangeType: {
		"a range of versions", `bounds such as ">= 1.8" or ">= 1.8, < 5"`,
		func(s string) (any, error) { return version.ParseRange(s) }, rangeHint,
	},
	sizeType: {
		"a size", "a whole number of bytes, or of kB, MB, GB, TB, KiB, MiB, GiB, TiB: 412345678, 4GB, 4GiB",
		func(s string) (any, error) { return parseSize(s) }, sizeHint,
	},
	dateType: {
		"a day", "year, month and day: 2026-03-02",
		func(s string) (any, error) { return ParseDate(s) }, dateHint,
	},
}

func noHint(string) string { return "" }

// rangeHint adds the comparison that is missing before a lone version.
func rangeHint(s string) string {
	if v, err := version.Parse(s); err == nil {
		return quote(">= " + string(v))
	}
	return ""
}

var looseSize = pattern.Of(`^([0-9][0-9_, ]*?) ?([kKmMgGtT]?)(i?)[bB]?$`)

// sizeHint rewrites sizes with spaces, separators or other capitals.
func sizeHint(s string) string {
	m := looseSize.FindStringSubmatch(s)
	if m == nil {
		return ""
	}
	unit := strings.ToUpper(m[2])
	switch {
	case unit == "K" && m[3] == "":
		unit = "kB"
	case unit != "":
		unit += m[3] + "B"
	}
	t := strings.NewReplacer("_", "", ",", "", " ", "").Replace(m[1]) + unit
	if _, err := parseSize(t); err != nil {
		return ""
	}
	return t
}

// dayForms are the ways in which people write days, and what each means, as Go
// names the parts of a day. Where two fit, only a person knows which was meant.
// Common practice, no source: dots mean day, month, year everywhere.
var dayForms = []string{
	"2006-1-2", "2006/1/2", "2006.1.2", "20060102", "2.1.2006", "2. 1. 2006",
	"2/1/2006", "1/2/2006", "2-1-2006", "1-2-2006", "2/1/06", "1/2/06",
	"2 January 2006", "2 Jan 2006", "2-Jan-2006", "2-Jan-06", "January 2 2006", "Jan 2 2006", "2006 January 2", "2006 Jan 2",
}

var ordinal = pattern.Of(`(?i)\b([0-9]{1,2})(st|nd|rd|th)\b`)

// dateHint gives the day in its own form, or both where it may be two.
func dateHint(s string) string {
	plain := ordinal.ReplaceAllString(strings.NewReplacer(",", " ", "Sept ", "Sep ").Replace(s), "$1")
	plain = strings.Join(strings.Fields(plain), " ")
	var days, said []string
	for _, form := range dayForms {
		t, err := time.Parse(form, plain)
		day := t.Format(time.DateOnly)
		if _, outside := ParseDate(day); err != nil || outside != nil || day == s || slices.Contains(days, day) {
			continue
		}
		days = append(days, day)
		said = append(said, day+" for "+t.Format("2 January 2006"))
	}
	if len(days) == 1 {
		return days[0]
	}
	return strings.Join(said, ", or ")
}
