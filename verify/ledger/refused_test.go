package ledger

import (
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
)

// The short way through ASCII refuses what the Unicode categories do.
func TestRefusedASCII(t *testing.T) {
	for r := rune(0); r <= unicode.MaxASCII; r++ {
		want := unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp,
			unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector, unicode.Noncharacter_Code_Point)
		assert.Equal(t, want, refused(r), "%q", r)
	}
}
