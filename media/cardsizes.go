package media

import (
	"fmt"
	"strconv"
	"strings"

	"cardwright/manifest"
)

// A card sold as n GB measures somewhat less or more than n × 10⁹ bytes
// (7,948,206,080 was measured on a nominal 8 GB card, 32,023,511,040 on a
// nominal 32 GB one), so a device's limits allow for this slack, in hundredths of
// the nominal size.
const (
	leastHundredths = 92
	mostHundredths  = 105
	imageHundredths = 96 // what every real card of a nominal size holds
)

// alignment is the boundary unit of cards over 2 to 32 GB (SD File System
// Specification v3.00: 4 MiB), to which image sizes are rounded.
const alignment = 4 << 20

// Limits is a span of measured card sizes, in bytes, both ends included.
type Limits struct {
	Least int64 `json:"least"`
	Most  int64 `json:"most"`
}

// LimitsOf is the span that a device with these card rules reads.
func LimitsOf(rules *manifest.CardRules) Limits {
	return NominalLimits(int64(rules.Least), int64(rules.Most))
}

// NominalLimits is the span of cards with these sizes, in bytes, printed on the
// smallest and the largest.
func NominalLimits(least, most int64) Limits {
	return Limits{Least: hundredths(least, leastHundredths), Most: hundredths(most, mostHundredths)}
}

// Nominal are the sizes printed on the smallest and the largest card within the
// limits, in bytes.
func (l Limits) Nominal() (least, most int64) {
	return (l.Least*100 + leastHundredths - 1) / leastHundredths, l.Most/mostHundredths*100 + l.Most%mostHundredths*100/mostHundredths
}

// Has reports whether a card of this many measured bytes is within the limits.
func (l Limits) Has(bytes int64) bool { return l.Least <= bytes && bytes <= l.Most }

// Both is the span within both limits; ok is false where there is none.
func (l Limits) Both(other Limits) (both Limits, ok bool) {
	both = Limits{max(l.Least, other.Least), min(l.Most, other.Most)}
	return both, both.Least <= both.Most
}

// Check is nil for a card of this many measured bytes that is within the limits,
// and otherwise an error that says by how much it isn't.
func (l Limits) Check(bytes int64) error {
	least, most := l.Nominal()
	switch {
	case bytes < l.Least:
		return fmt.Errorf("the card holds %s; these devices read cards sold as %s or more, which hold at least %s: use a larger card", Bytes(bytes), soldAs(least), Bytes(l.Least))
	case bytes > l.Most:
		return fmt.Errorf("the card holds %s; these devices read cards sold as %s or less, which hold at most %s: use a smaller card", Bytes(bytes), soldAs(most), Bytes(l.Most))
	}
	return nil
}

// soldAs is a nominal size as it is printed on cards.
func soldAs(nominal int64) string {
	if nominal < 1e9 {
		return fmt.Sprintf("%.4g MB", float64(nominal)/1e6)
	}
	return fmt.Sprintf("%.4g GB", float64(nominal)/1e9)
}

// ImageBytes reads a --size. A nominal size (8GB) gives 0.96 of it, rounded
// down to 4 MiB, so that the image fits a real card of that size; a size in
// bytes or binary units (7948206080, 4GiB) is taken as it is.
func ImageBytes(size string) (int64, error) {
	text := strings.TrimSpace(size)
	for _, unit := range []struct {
		suffix  string
		bytes   int64
		nominal bool
	}{
		{"GiB", 1 << 30, false},
		{"MiB", 1 << 20, false},
		{"GB", 1e9, true},
		{"MB", 1e6, true},
		{"", 1, false},
	} {
		digits, ok := strings.CutSuffix(text, unit.suffix)
		if !ok {
			continue
		}
		n, err := strconv.ParseInt(strings.TrimSpace(digits), 10, 64)
		if err != nil || n <= 0 || n > (1<<42)/unit.bytes {
			break
		}
		bytes := n * unit.bytes
		if unit.nominal {
			bytes = hundredths(bytes, imageHundredths) / alignment * alignment
		}
		if bytes%SectorSize != 0 {
			return 0, fmt.Errorf("size %s isn't a multiple of %d bytes", size, SectorSize)
		}
		return bytes, nil
	}
	return 0, fmt.Errorf("size %q: expected a card size such as 8GB, 4GiB or 7948206080", size)
}

// hundredths avoids floating point, so that limits are the same everywhere, and
// does not overflow below 2^63 / 1.05.
func hundredths(n, h int64) int64 {
	return n/100*h + n%100*h/100
}

// Bytes writes a count of bytes for people: exact, with thousands separated,
// and in decimal units as cards are sold.
func Bytes(n int64) string {
	text := strconv.FormatInt(n, 10)
	var grouped strings.Builder
	for i, c := range text {
		if i > 0 && (len(text)-i)%3 == 0 && text[i-1] != '-' {
			grouped.WriteByte(',')
		}
		grouped.WriteRune(c)
	}
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.2f GB (%s bytes)", float64(n)/1e9, grouped.String())
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB (%s bytes)", float64(n)/1e6, grouped.String())
	case n == 1:
		return "1 byte"
	}
	return grouped.String() + " bytes"
}
