package media

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWordsForShells(t *testing.T) {
	for word, want := range map[string][2]string{
		"k.img":              {"k.img", "k.img"},
		"":                   {"''", `""`},
		"my card.img":        {"'my card.img'", `"my card.img"`},
		"it's":               {`'it'\''s'`, `"it's"`},
		`C:\cards\k.img`:     {`'C:\cards\k.img'`, `C:\cards\k.img`},
		`\\.\PhysicalDrive2`: {`'\\.\PhysicalDrive2'`, `\\.\PhysicalDrive2`},
		"E:":                 {"E:", "E:"},
		"100%":               {"100%", `"100%"`},
		"=k.img":             {"'=k.img'", "=k.img"},
		"a,b.img":            {"a,b.img", `"a,b.img"`},
		"@k.img":             {"@k.img", `"@k.img"`},
		`C:\my cards\`:       {`'C:\my cards\'`, `"C:\my cards\\"`},
		`C:\cards\`:          {`'C:\cards\'`, `C:\cards\`},
		`\\quay\C$\my cards`: {`'\\quay\C$\my cards'`, `"\\quay\C$\my cards"`},
		`100% of 5%`:         {`'100% of 5%'`, unshownWord},
		"$home":              {"'$home'", unshownWord},
		"a$(b).img":          {"'a$(b).img'", unshownWord},
		"a`b.img":            {"'a`b.img'", unshownWord},
		"“rose”.img":         {"'“rose”.img'", unshownWord},
		"a&b;(c).img":        {"'a&b;(c).img'", `"a&b;(c).img"`},
		"a\tb.img":           {unshownWord, unshownWord},
		"a\xffb.img":         {unshownWord, unshownWord},
		"a\u202eb.img":       {unshownWord, unshownWord},
	} {
		assert.Equal(t, want[0], shellWord("linux", word))
		assert.Equal(t, want[0], shellWord("darwin", word))
		assert.Equal(t, want[1], shellWord("windows", word))
	}
}
