package sheet_test

import (
	"bytes"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/sheet"
)

// The PDF library writes into the fonts that it is given: from its second PDF
// on a program would write other bytes than with its first.
func TestFontsStayAsTheyAre(t *testing.T) {
	_, err := sheet.PDF(made(t, provenKittiwake()), sheet.A4, nil)
	require.NoError(t, err)
	for name, data := range sheet.Fonts() {
		file, err := os.ReadFile("fonts/" + name)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(file, data), name)
	}
}
