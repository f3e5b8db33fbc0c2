package manifest

import "strings"

// What the schemas say to editors of names on a card, in the regular expressions
// that JSON Schema takes (ECMA-262, without regard to flags): the program's own
// checks (pathProblem) say the same in words, and a little more.
const (
	inName  = `[^\x00-\x1f\x7f"*/:<>?\\|]`
	atStart = `[^\x00-\x1f\x7f"*/:<>?\\| ]`
	atEnd   = `[^\x00-\x1f\x7f"*/:<>?\\| .]`
	oneName = `(` + atStart + inName + `*)?` + atEnd
	aPath   = oneName + `(/` + oneName + `)*`
)

// portNames are the names that portName refuses, in any capitals.
var portNames = `(` + anyCase("con") + `|` + anyCase("prn") + `|` + anyCase("aux") + `|` + anyCase("nul") + `|` +
	anyCase("clock") + `\$|` + anyCase("conin") + `\$|` + anyCase("conout") + `\$|(` + anyCase("com") + `|` + anyCase("lpt") + `)[0-9¹²³])( *\.[^/]*)?`

// refusedPaths are paths that look right and aren't: a port's name anywhere, the
// card's own record at the beginning.
var refusedPaths = `(^|/)` + portNames + `(/|$)|^/?` + anyCase(recordFolder) + `(/|$)`

// anyCase is a pattern for a word in any capitals.
func anyCase(word string) string {
	var b strings.Builder
	for _, r := range word {
		if low, up := strings.ToLower(string(r)), strings.ToUpper(string(r)); low != up {
			b.WriteString("[" + low + up + "]")
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}
