package manifest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What the parser (go.yaml.in/yaml) says of each text is its own; what should be said
// of it follows from YAML 1.2.2 (yaml.org), chapters 5.7 (escapes), 6.1 (tabs), 6.6
// (comments), 6.8 (directives), 6.9 (tags, anchors), 7 (flow styles), 8 (block styles)
// and 9 (documents).
var parserMessageCases = []struct{ text, message, found, advice string }{
	{"a: " + strings.Repeat("[", maxDepth+1), errDeep.Error(), "more than 12 deep", ""},
	{`a: "\ud800"`, "Unicode character", "the escape of half a character", ""},
	{`packages: "C:\parts"`, "unknown escape", "a backslash before a letter", `put single quotes round it: 'C:\parts'`},
	{`a: "\xZZ"`, "hexadecimal number", "too few hex digits", ""},
	{"a: *n", "unknown anchor", "a YAML alias", ""},
	{"a: & b", "scanning an anchor", "begins with & or *", "put quotes around it"},
	{"a: * b", "scanning an alias", "begins with & or *", "put quotes around it"},
	{"a: !<b", "a tag", "begins with !", "put quotes around it"},
	{"a: !<b>c d", "a tag", "begins with !", "put quotes around it"},
	{"a: !b!c d", "tag handle", "begins with !", "put quotes around it"},
	{"%FOO\na: b", "directive", "a line that begins with %", ""},
	{"%YAML 1.2\n%YAML 1.2\n---\na: b", "directive", "a line that begins with %", ""},
	{"%YAML 3.0\n---\na: b", "incompatible YAML document", "a line that begins with %", ""},
	{"a: b\n\tc: d", "tab", "a tab in the indentation", "put spaces in place of the tab"},
	{"a:\n \tb: c", "tab", "a tab in the indentation", "put spaces in place of the tab"},
	{"a: |\n\tb", "tab", "a tab in the indentation", "put spaces in place of the tab"},
	{`a: "b"#c`, "comment without preceding whitespace", "a # directly behind a value", "put a space before the #, or quotes around a value that has one"},
	{"a: -", "sequence entries are not allowed", "a dash behind a key", "put quotes around a value that begins with a dash"},
	{"a: - b", "sequence entries are not allowed", "a dash behind a key", "put quotes around a value that begins with a dash"},
	{"a: ? b", "mapping keys are not allowed", "a question mark", "put quotes around a value that begins with a question mark"},
	{"a: b\n... c", "document-end marker", "behind the end of the document", ""},
	{"{a: b}\nc: d", "<document start>", "behind the end of the document", ""},
	{"a: >= 3", "scanning a block scalar", "begins with > or |", `put quotes around it, as in ">= 3.0"`},
	{"a: @b", "cannot start any token", "a character that can't begin a value", "put quotes around the value"},
	{"\ta: b", "cannot start any token", "a tab in the indentation", "put spaces in place of the tab"},
	{"a: b: c", "mapping values are not allowed", "a second colon", "put quotes around a value that holds a colon and a space"},
	{"a: b\n  c: d", "mapping values are not allowed", "a line indented further than", ""},
	{"a:\n- b: c\n    d: e", "mapping values are not allowed", "a line indented further than", ""},
	{"a: 'b", "scanning a quoted scalar", "a quotation mark that is not closed", ""},
	{"a: b\nccc\nd: e", "could not find expected ':'", "a line without a colon", ""},
	{"a:\n  - b\n c: d", "parsing a block mapping", "not indented like its neighbours", ""},
	{`name: "Kittiwake" II`, "parsing a block mapping", "more text behind the end of a value", "put all of it in one pair of double quotes"},
	{"- a\nb: c", "parsing a block collection", "not indented like its neighbours", ""},
	{`- "a" b`, "parsing a block collection", "more text behind the end of a value", "put all of it in one pair of double quotes"},
	{"a: [b, c\nd: e", "parsing a flow", "brackets that are not closed", ""},
	{"a: ]", "expected node content", "a closing bracket or a comma", "put quotes around a value that begins with one"},
}

// TestParserMessages: each message of the parser that we know is said in our words, of
// a text that draws it out.
func TestParserMessages(t *testing.T) {
	drawn := map[string]bool{}
	for _, c := range parserMessageCases {
		_, err := Read("a.yaml", []byte(c.text+"\n"))
		var ms Mistakes
		require.ErrorAs(t, err, &ms, c.text)
		require.Len(t, ms, 1, c.text)
		assert.Equal(t, "not readable as YAML", ms[0].What, c.text)
		assert.Contains(t, ms[0].Found, c.found, c.text)
		assert.Equal(t, c.advice, ms[0].Advice, c.text)
		drawn[c.message] = true
	}
	for _, p := range parserMessages {
		assert.True(t, drawn[p.message], "no text draws out %q", p.message)
	}
}
