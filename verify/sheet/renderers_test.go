package sheet_test

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/sheet"
)

// everyBlock is a block of each kind, with what a reader has to find of it.
func everyBlock(t *testing.T) (blocks []sheet.Block, words []string) {
	var drawing bytes.Buffer
	require.NoError(t, png.Encode(&drawing, image.NewGray(image.Rect(0, 0, 8, 8))))
	tick := func(id, text string) sheet.Tick { return sheet.Tick{ID: id, Text: text} }
	blank := func(id, label string) sheet.Blank { return sheet.Blank{ID: id, Label: label} }
	blocks = []sheet.Block{
		sheet.Heading("Halyard"),
		sheet.Paragraph("Bowsprit"),
		sheet.Caution("Capstan"),
		sheet.Facts{{Label: "Davit", Value: "Fairlead"}},
		tick("t", "Gudgeon"),
		sheet.Boxes{{ID: "b", Text: "Hawse", Note: "Jackstay"}},
		sheet.Blanks{blank("w", "Keelson")},
		sheet.Table{Head: []string{"Lazarette", "Mizzen"}, Rows: []sheet.Row{{Cells: []string{"Orlop", "Pintle"}}}},
		sheet.Step{
			ID: "step-1", Number: 1, Name: "Step 1", Device: "Quarter", From: "1.0", To: "2.0", Do: []string{"Reefing"},
			Before: blank("before", "Shackle"), Read: blank("read", "Transom"), Took: blank("took", "Upstand"), Note: blank("note", "Vang"),
		},
		sheet.Checks{{ID: "c", Device: "Whipstaff", Name: "Yardarm", How: "Abeam", Value: blank("v", "Ballast")}},
		sheet.Signs{{Who: "Coxswain", Blanks: []sheet.Blank{blank("s", "Deadeye")}}},
		sheet.Picture{Says: "Forepeak", PNG: drawing.Bytes(), Text: []string{"###"}},
		sheet.Network{Nodes: []sheet.Node{{Device: "Garboard", Host: -1, Steps: []int{1}, Words: "alone"}}},
		sheet.Cards{{Number: 1, Name: "Hatch", Facts: []sheet.Fact{{Label: "Inboard", Value: "Jib"}}}},
	}
	return blocks, []string{
		"Halyard", "Bowsprit", "Capstan", "Davit", "Fairlead", "Gudgeon", "Hawse", "Jackstay", "Keelson", "Orlop", "Pintle",
		"Quarter", "1.0→2.0", "Reefing", "Shackle", "Whipstaff", "Yardarm", "Abeam", "Coxswain", "Deadeye", "Forepeak", "Garboard",
		"Hatch", "Inboard", "Jib",
	}
}

// Every kind of block is on the sheet in every form, wherever it stands: also where
// a section is kept on one page. The PDF is read back by poppler's pdftotext.
func TestEveryFormWritesEveryBlock(t *testing.T) {
	blocks, words := everyBlock(t)
	renderer := reflect.TypeFor[sheet.Renderer]()
	require.Len(t, blocks, renderer.NumMethod(), "a block of each kind")
	reversed := slices.Clone(blocks)
	slices.Reverse(reversed)
	for name, section := range map[string]sheet.Section{
		"in pieces": {ID: "a", Title: "Kit", Blocks: blocks}, "whole": {ID: "a", Title: "Kit", Whole: true, Blocks: blocks},
		"reversed": {ID: "a", Title: "Kit", Blocks: reversed}, "whole, reversed": {ID: "a", Title: "Kit", Whole: true, Blocks: reversed},
	} {
		t.Run(name, func(t *testing.T) {
			s := sheet.Sheet{Language: sheet.English, Title: "Order", Vessel: "Kittiwake", Sections: []sheet.Section{section}}
			page, err := sheet.HTML(s, sheet.A4)
			require.NoError(t, err)
			paper, err := sheet.PDF(s, sheet.A4, nil)
			require.NoError(t, err)
			file := filepath.Join(t.TempDir(), "sheet.pdf")
			require.NoError(t, os.WriteFile(file, paper, 0o600))
			for form, text := range map[string]string{
				"text": sheet.Text(s), "HTML": string(page), "PDF": run(t, "pdftotext", "-raw", file, "-"),
			} {
				found := strings.ToLower(squeezed(text))
				for _, word := range words {
					assert.Contains(t, found, strings.ToLower(word), "%s: %s", form, name)
				}
			}
		})
	}
}
