package sheet_test

import (
	"fmt"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/sheet"
)

// everywhere puts a text into every field that holds text.
func everywhere(text string) sheet.Input {
	in := provenKittiwake()
	in.Technician, in.Shop.Name, in.Shop.Call = text, text, text
	v := in.Vessel
	v.Name, v.Berth, v.Supply, v.Identity = text, text, "12"+text, manifest.Identity{IMO: text, MMSI: text, Hull: text}
	for _, d := range v.Devices {
		d.Serial, d.Place, d.HoldWhy = text, text, text
	}
	m := in.Shop.Models[0]
	m.Maker, m.Name, m.VersionShown, m.Install, m.Restarts, m.LeaveAlone, m.IfItFails = text, text, text, text, text, text, text
	m.Checks = []*manifest.CheckText{{Check: "settings and waypoints", Text: text}}
	m.Releases[1].Notes, m.Card = text, &manifest.CardRules{Slot: text}
	s := &in.Plan.Steps[0]
	s.Folder, s.Files[0].Name, s.From = text, text, version.V(text)
	in.Plan.Notes = []string{text}
	in.Cards[0].Label, in.Cards[0].VolumeID = text, text
	return in
}

func TestTextWhateverIsInIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(
			rapid.String(),
			rapid.StringMatching(`[ -~\x00-\x1f‹›\\_\[\]]{0,200}`),
			rapid.Custom(func(t *rapid.T) string { return string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")) }),
		).Draw(t, "text")
		s, err := sheet.Make(everywhere(text))
		require.NoError(t, err)
		for line := range strings.Lines(sheet.Text(s)) {
			line = strings.TrimSuffix(line, "\n")
			assert.LessOrEqual(t, displaywidth.String(line), sheet.Columns, "%q", line)
			assert.True(t, utf8.ValidString(line))
			assert.Equal(t, -1, strings.IndexFunc(line, func(r rune) bool { return !unicode.IsPrint(r) }), "%q", line)
		}
		_, err = sheet.HTML(s, sheet.A4)
		require.NoError(t, err)
	})
}

func TestPDFWhateverIsInIt(t *testing.T) {
	for name, text := range map[string]string{
		"nothing": "", "long word": strings.Repeat("x", 3000), "many words": strings.Repeat("wet hands ", 300),
		"wide": strings.Repeat("船", 500), "marks": strings.Repeat("e\u0301", 200), "right to left": "סירה قارب",
		"not UTF-8": "\xff\xfe", "tabs and lines": "a\tb\nc\r\nd", "beyond the first plane": "😀🛥",
	} {
		t.Run(name, func(t *testing.T) {
			raw := run(t, "pdftotext", "-raw", pdf(t, everywhere(text), sheet.Letter), "-")
			assert.Contains(t, raw, "page 1 of ")
		})
	}
}

// A name as long as a file of the shop may be doesn't take for ever.
func TestLongestName(t *testing.T) {
	in := provenKittiwake()
	in.Vessel.Devices[0].Place = strings.Repeat("ж", 256<<10)
	text := sheet.Text(made(t, in))
	assert.Equal(t, 256<<10, strings.Count(text, "ж"), "in its step")
	in.Cards = nil
	for i := range 400 {
		in.Plan.Cards = append(in.Plan.Cards, in.Plan.Cards[0])
		in.Plan.Cards[i].Number = i + 1
	}
	assert.Contains(t, made(t, in).Foot, fmt.Sprint(len(in.Plan.Cards), " cards"))
}
