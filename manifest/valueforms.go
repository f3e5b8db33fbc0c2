package manifest

import (
	"fmt"
	"strings"
	"unicode/utf16"

	"cardwright/manifest/pattern"
	"cardwright/manifest/samename"
)

// form is the shape that a text must have.
type form struct {
	name     string              // what a text without it is not: "not an id"
	expected string              // in words, for messages
	pattern  string              // as a regular expression, for schemas, and checked before problem
	problem  func(string) string // what else is wrong, or ""; may be nil

	full  string // for schemas: pattern and problem in one regular expression; "": pattern
	never string // for schemas: a regular expression that it must not match
}

// MaxID is the longest id, in characters.
const MaxID = 40

var (
	id = form{
		name:     "an id",
		expected: fmt.Sprintf("at most %d lower-case letters, digits and hyphens, with a letter or digit at either end", MaxID),
		pattern:  fmt.Sprintf(`^[a-z0-9]([a-z0-9-]{0,%d}[a-z0-9])?$`, MaxID-2),
		problem:  portName,
		never:    `^` + portNames + `$`,
	}
	sha256Hex = form{
		name: "a SHA-256", expected: "64 hex digits", pattern: `^[0-9a-fA-F]{64}$`,
	}
	mmsi = form{name: "an MMSI", expected: "9 digits", pattern: `^[0-9]{9}$`}

	imoNumber = form{
		name:     "an IMO number",
		expected: "7 digits, of which the last is a check digit",
		pattern:  `^[0-9]{7}$`,
		problem:  imoProblem,
	}
	fileName = form{
		name:     "a name for a file on a card",
		expected: "a path such as plot.upd or radar/plot.upd, of names that a FAT card can hold",
		pattern:  `^[^/\\].*$`,
		problem:  packageProblem,
		full:     `^` + aPath + `$`,
		never:    refusedPaths,
	}
	cardFolder = form{
		name:     "a folder on a card",
		expected: "any, or a path such as / or /update",
		pattern:  `^(any|/.*)$`,
		problem:  folderProblem,
		full:     `^(any|/|/` + aPath + `)$`,
		never:    refusedPaths,
	}
	folderHere = form{
		name: "a folder below the shop folder", expected: "a relative path such as packages",
		pattern: `^[^/\\].*$`, problem: pathProblem, full: `^` + aPath + `$`, never: refusedPaths,
	}
	tolerance = form{
		name: "a tolerance", expected: "a number over 0 and under 100, with one decimal at most: 3 or 2.5",
		pattern: `^([1-9][0-9]?(\.[0-9])?|0\.[1-9])$`,
	}
	versionPattern = form{
		name: "a pattern with one group", expected: "a regular expression (RE2) with one group in brackets, which is the version: '^\\S+ (\\S+)$'",
		pattern: `\(.*\)`, problem: versionPatternProblem,
	}
	publicKey = form{
		name: "a public key", expected: "the 56 characters that cardwright key show prints, beginning with RW",
		pattern: `^RW[0-9A-Za-z+/]{54}$`,
	}
	ledgerPlace = form{
		name: "a place for the ledger", expected: "a relative path such as ledger.db, or a postgres:// address",
		pattern: `^[^/\\].*$`, problem: ledgerProblem, full: `^(postgres(ql)?://.*|` + aPath + `)$`, never: refusedPaths,
	}
)

// wrong says what is wrong with s, or "".
func (f *form) wrong(s string) string {
	if !patterns[f.pattern].MatchString(s) {
		return quote(s)
	}
	if f.problem != nil {
		if p := f.problem(s); p != "" {
			return quote(s) + ", " + p
		}
	}
	return ""
}

var patterns = compile(&id, &sha256Hex, &mmsi, &imoNumber, &fileName, &cardFolder, &folderHere, &ledgerPlace, &publicKey, &tolerance, &versionPattern)

func compile(forms ...*form) map[string]*pattern.Pattern {
	m := map[string]*pattern.Pattern{}
	for _, f := range forms {
		m[f.pattern] = pattern.Of(f.pattern)
	}
	return m
}

// imoProblem checks the last digit of an IMO number: the last digit of the
// sum of the first six, weighted 7 to 2. (The rule is from memory.)
func imoProblem(s string) string {
	sum := 0
	for i := range 6 {
		sum += int(s[i]-'0') * (7 - i)
	}
	if want := sum % 10; int(s[6]-'0') != want {
		return fmt.Sprintf("whose check digit would be %d", want)
	}
	return ""
}

// Limits of names on FAT: Microsoft FAT32 File System Specification v1.03,
// "long directory entries" (255 UTF-16 units a name, 260 with NUL a path).
const (
	maxName = 255
	maxPath = 259
)

// recordFolder is the folder of a card's own record, which no file of a
// package may use.
const recordFolder = "_card"

func ledgerProblem(s string) string {
	if strings.HasPrefix(s, "postgres://") || strings.HasPrefix(s, "postgresql://") {
		return ""
	}
	return pathProblem(s)
}

func folderProblem(s string) string {
	if s == AnyFolder || s == "/" {
		return ""
	}
	return pathProblem(s[1:])
}

// pathProblem says why a relative path isn't allowed on a FAT card, or "".
func pathProblem(s string) string {
	if utf16Units(s) > maxPath {
		return fmt.Sprintf("longer than %d characters", maxPath)
	}
	for i, name := range strings.Split(s, "/") {
		if i == 0 && samename.Same(name, recordFolder) {
			return "the folder of the card's own record"
		}
		if p := nameProblem(name); p != "" {
			return p
		}
	}
	return ""
}

// startsItself are the names of files that a computer opens, runs or shows by itself
// when a card is put in or its folder is opened: a card that goes from boat to office
// would spread them. Those of Windows are from memory; autorun and autoopen are those
// of the Desktop Application Autostart Specification (from memory, too).
var startsItself = pattern.Of(`(?i)^(autorun(\..*)?|autoexec\.bat|autoplay\..*|autostart\..*|\.?autorun(\.sh)?|\.?autoopen|desktop\.ini|folder\.htt` +
	`|(setup|install|start|run|launch)\.(exe|com|bat|cmd|msi|ps1|vbs|js|wsf|hta)|.*\.(lnk|pif|scf|scr|url|desktop|hta|library-ms|search-ms|appref-ms))$`)

// packageProblem says why a path can't be that of a package's file, or "".
func packageProblem(s string) string {
	if p := pathProblem(s); p != "" {
		return p
	}
	for _, name := range strings.Split(s, "/") {
		if startsItself.MatchString(name) {
			return "which computers open or start by themselves: no device needs it"
		}
	}
	return ""
}

// nameProblem says why a name isn't allowed on a FAT card, or "". The illegal
// characters are those of the specification for long names.
func nameProblem(name string) string {
	switch {
	case name == "":
		return "with an empty name in it"
	case name == "." || name == "..":
		return "with " + quote(name) + " in it"
	case utf16Units(name) > maxName:
		return fmt.Sprintf("with a name longer than %d characters", maxName)
	}
	if i := strings.IndexFunc(name, illegalOnFAT); i >= 0 {
		return fmt.Sprintf("with the character %q", []rune(name[i:])[0])
	}
	if strings.HasSuffix(name, ".") || strings.Trim(name, " ") != name {
		return "with a name that ends in a dot, or begins or ends in a space"
	}
	return portName(name)
}

func illegalOnFAT(r rune) bool { return r < 0x20 || r == 0x7F || strings.ContainsRune(`"*/:<>?\|`, r) }

func utf16Units(s string) int { return len(utf16.Encode([]rune(s))) }

var portNamePattern = pattern.Of(`(?i)^(con|prn|aux|nul|clock\$|conin\$|conout\$|(com|lpt)[0-9¹²³])( *\..*)?$`)

// portName refuses names that DOS and Windows take for a port or a console, with any
// extension.
func portName(name string) string {
	if portNamePattern.MatchString(name) {
		return "which Windows takes for a port or a console, not a file"
	}
	return ""
}
