package place

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Microsoft, "Naming Files, Paths, and Namespaces".
func TestNamesThatWindowsRefuses(t *testing.T) {
	for _, path := range []string{
		"out?.pdf", `C:\cards\a*b.img`, "card:1.img", `C:\cards\card:1.img`, `\\?\C:\a|b\k.img`, "a<b", "k.img.", "k.img ",
		`cards.\k.img`, `say "so".pdf`, "a\tb.pdf", `\\quay\cards\a>b.img`, "E:k:1.img",
	} {
		assert.NotEmpty(t, windowsName(path), path)
	}
	for _, path := range []string{
		"k.img", `C:\cards\k.img`, "C:/cards/k.img", "E:k.img", `..\k.img`, "./k.img", `\\quay\C$\k.img`, `\\?\C:\cards\k.img`,
		`\\?\UNC\quay\cards\k.img`, `\\?\Volume{4c1b02c1-d990-11dc-99ae-806e6f6e6963}\k.img`, ".k.img", "Brücke & Søn (2).pdf", "", ".", "..",
	} {
		assert.Empty(t, windowsName(path), path)
	}
}
