package manifest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"cardwright/manifest/pattern"
)

// maxSize is the largest size that is read: a petabyte, more than any card holds.
const maxSize Size = 1e15

// units of a size: binary ones (IEC 80000-13) and decimal ones (SI).
var units = []struct {
	name  string
	bytes Size
}{
	{"TiB", 1 << 40},
	{"GiB", 1 << 30},
	{"MiB", 1 << 20},
	{"KiB", 1 << 10},
	{"TB", 1e12},
	{"GB", 1e9},
	{"MB", 1e6},
	{"kB", 1e3},
}

// parseSize reads a size as it is written in the shop's files: a whole number
// of bytes (412345678), of decimal units (4GB) or of binary ones (4GiB).
func parseSize(s string) (Size, error) {
	number, unit := s, Size(1)
	for _, u := range units {
		if rest, ok := strings.CutSuffix(s, u.name); ok {
			number, unit = rest, u.bytes
			break
		}
	}
	if number == "" || strings.Trim(number, "0123456789") != "" || len(number) > 1 && number[0] == '0' {
		return 0, fmt.Errorf("%s, not a whole number of bytes or of a unit such as GB", quote(s))
	}
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil || Size(n) > maxSize/unit {
		return 0, fmt.Errorf("%s, more than %s", quote(s), maxSize)
	}
	return Size(n) * unit, nil
}

// sizeAsTyped reads a size as people write it: with a space before the unit, the
// unit in other letters or cut short (4 gb, 4G), and separators in the number.
func sizeAsTyped(s string) (Size, error) {
	if size, err := parseSize(s); err == nil {
		return size, nil
	}
	if exact := sizeHint(strings.Join(strings.Fields(s), " ")); exact != "" {
		return parseSize(exact)
	}
	return parseSize(s) // which says what is wrong with it
}

// dashes are what people put between two sizes.
var dashes = pattern.Of(`^(.*[^ ]) *(?:-|–|—|−|\.\.+|…|to) *([0-9].*)$`)

// SizesAsTyped reads the smallest and the largest size, such as 4GB - 32GB or
// 4 to 32 GB.
func SizesAsTyped(s string) (least, most Size, err error) {
	parts := dashes.FindStringSubmatch(strings.ToLower(strings.TrimSpace(s)))
	if parts == nil {
		return 0, 0, fmt.Errorf("%s, not two sizes such as 4GB-32GB", quote(s))
	}
	if most, err = sizeAsTyped(parts[2]); err != nil {
		return 0, 0, err
	}
	if strings.Trim(parts[1], "0123456789") == "" { // the unit of the second counts for both
		parts[1] += strings.TrimLeft(parts[2], "0123456789_, ")
	}
	if least, err = sizeAsTyped(parts[1]); err != nil {
		return 0, 0, err
	}
	if least > most {
		return 0, 0, fmt.Errorf("%s, the smallest above the largest", quote(s))
	}
	return least, most, nil
}

// String writes the size in the largest unit that leaves a whole number, so
// that parseSize reads the same size back.
func (s Size) String() string {
	best, n := "", s
	for _, u := range units {
		if s > 0 && s%u.bytes == 0 && s/u.bytes < n {
			best, n = u.name, s/u.bytes
		}
	}
	return strconv.FormatInt(int64(n), 10) + best
}

// Days that a FAT directory entry can hold; a release's day becomes the time
// of its files.
const (
	firstYear = 1980
	lastYear  = 2107
)

// ParseDate reads a day written as 2026-03-02.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("%s, not a day written like 2026-03-02", quote(s))
	}
	if t.Year() < firstYear || t.Year() > lastYear {
		return Date{}, fmt.Errorf("%s, outside the years %d to %d, which a card can hold", quote(s), firstYear, lastYear)
	}
	return Date{t}, nil
}

// String writes the day as ParseDate reads it.
func (d Date) String() string { return d.Format(time.DateOnly) }

// MarshalText writes the day as String does.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// MarshalJSON writes the day as a JSON string.
func (d Date) MarshalJSON() ([]byte, error) { return []byte(strconv.Quote(d.String())), nil }
