package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf16"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest/pattern"
	"cardwright/manifest/problem"
)

// unreadable puts the YAML parser's error about a file into plain words.
func unreadable(file string, data []byte, err error) Mistake {
	m := Mistake{
		At: Pos{File: file, Line: 1, Column: 1}, What: "not readable as YAML",
		Problem: problem.Problem{Found: "text that is not YAML", Expected: "lines of the form key: value"},
	}
	if errors.Is(err, io.EOF) {
		m.Found = "an empty file"
		return m
	}
	var told *yaml.LoadError
	if !errors.As(err, &told) {
		return m
	}
	if told.Mark.Line > 0 {
		m.At.Line, m.At.Column = told.Mark.Line, max(told.Mark.Column, 1)
	}
	m.Found += " (" + quote(told.Message) + ")"
	for _, p := range parserMessages {
		if strings.Contains(told.Message, p.message) || strings.Contains(told.ContextMsg, p.message) {
			m.Found, m.Expected, m.Advice = p.found, p.expected, p.advice
			if p.refine != nil {
				lines := bytes.Split(data, []byte("\n"))
				p.refine(&m, string(lines[min(m.At.Line, len(lines))-1]))
			}
			break
		}
	}
	return m
}

// parserMessages says in our words what the YAML parser's messages mean. Its errors
// have one type, and nothing but their text tells them apart: this is the one place
// that reads an error's text. TestParserMessages has a file for each, so that
// another version of the library that says it otherwise is noticed. The first that
// fits counts.
var parserMessages = []struct {
	message                 string // part of what the parser says, or of what it was doing
	found, expected, advice string
	refine                  func(m *Mistake, line string) // by the line that it is in; may be nil
}{
	{errDeep.Error(), errDeep.Error(), fmt.Sprintf("at most %d", maxDepth), "", nil},
	{"Unicode character", "the escape of half a character (a surrogate, \\uD800 to \\uDFFF), or of none", "the character itself, or its one escape: \\U0001F600", "", joinHalves},
	{"unknown escape", "a backslash before a letter that makes no escape with it", `two backslashes (\\), or a backslash in single quotes`, `put single quotes round it: 'C:\parts'`, nil},
	{"hexadecimal number", "an escape with too few hex digits", `\x and 2 hex digits, \u and 4, or \U and 8`, "", nil},
	{"unknown anchor", "a YAML alias", plainValue, "", nil},
	{"scanning an anchor", "a value that begins with & or *", plainValue, "put quotes around it", nil},
	{"scanning an alias", "a value that begins with & or *", plainValue, "put quotes around it", nil},
	{"a tag", "a value that begins with !", plainValue, "put quotes around it", nil},
	{"tag handle", "a value that begins with !", plainValue, "put quotes around it", nil},
	{"directive", "a line that begins with %", "lines of the form key: value", "", nil},
	{"incompatible YAML document", "a line that begins with %", "lines of the form key: value", "", nil},
	{"tab", tabFound, tabExpected, tabAdvice, nil},
	{"comment without preceding whitespace", "a # directly behind a value", "a space before a comment", "put a space before the #, or quotes around a value that has one", nil},
	{"sequence entries are not allowed", "a dash behind a key", "each entry of a list on a line of its own", "put quotes around a value that begins with a dash", nil},
	{"mapping keys are not allowed", "a question mark where a value should be", "key: value", "put quotes around a value that begins with a question mark", nil},
	{"<document start>", "more text behind the end of the document", "one document in a file", "", nil},
	{"document-end marker", "more text behind the end of the document", "one document in a file", "", nil},
	{"scanning a block scalar", "a value that begins with > or |", "a range in quotes", `put quotes around it, as in ">= 3.0"`, nil},
	{"cannot start any token", "a character that can't begin a value", "text, or a value in quotes", "put quotes around the value", tabInIndent},
	{"mapping values are not allowed", "a second colon", "key: value, each on its own line", "put quotes around a value that holds a colon and a space", tooFarIn},
	{"scanning a quoted scalar", "a quotation mark that is not closed", "a closing quotation mark", "", nil},
	{"could not find expected ':'", "a line without a colon", "key: value", "", nil},
	{"parsing a block mapping", "a line that is not indented like its neighbours", "keys of one mapping in one column", "", behindValue},
	{"parsing a block collection", "a line that is not indented like its neighbours", "entries of one list in one column", "", behindValue},
	{"parsing a flow", "brackets that are not closed, or a comma missing", "[a, b] or {key: value}", "", nil},
	{"expected node content", "a closing bracket or a comma where a value should be", "[a, b] or {key: value}", "put quotes around a value that begins with one", nil},
}

const (
	tabFound    = "a tab in the indentation"
	tabExpected = "lines indented with spaces"
	tabAdvice   = "put spaces in place of the tab"
)

// tabInIndent tells a tab that a file begins with from other characters that begin no
// value.
func tabInIndent(m *Mistake, line string) {
	if strings.HasPrefix(strings.TrimLeft(line, " "), "\t") {
		m.Found, m.Expected, m.Advice = tabFound, tabExpected, tabAdvice
	}
}

// tooFarIn tells a line with one key, which is indented too far, from one with
// a second colon: the parser says the same of both.
func tooFarIn(m *Mistake, line string) {
	if r := []rune(line); m.At.Column <= len(r) && !strings.Contains(string(r[:m.At.Column-1]), ":") {
		m.Found, m.Expected, m.Advice = "a line indented further than the lines above it allow", "keys of one mapping in one column", ""
	}
}

// behindValue tells text behind the end of a value, such as name: "Kittiwake" II, from
// a line that begins in the wrong column: the parser says the same of both.
func behindValue(m *Mistake, line string) {
	if r := []rune(line); m.At.Column <= len(r) && strings.Trim(string(r[:m.At.Column-1]), " -") != "" {
		m.Found, m.Expected, m.Advice = "more text behind the end of a value", "one value behind a key", "put all of it in one pair of double quotes"
	}
}

var escapedPair = pattern.Of(`\\u([dD][89aAbB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})`)

// joinHalves says which one character is meant where it is escaped in two halves, as
// JSON does it.
func joinHalves(m *Mistake, line string) {
	pair := escapedPair.FindStringSubmatch(line)
	if pair == nil {
		return
	}
	high, _ := strconv.ParseUint(pair[1], 16, 16) // the pattern has hex digits alone
	low, _ := strconv.ParseUint(pair[2], 16, 16)
	r := utf16.DecodeRune(rune(high), rune(low))
	m.Found = "a character in two escapes, " + pair[0] + ", as JSON has it"
	m.Advice = fmt.Sprintf("\\U%08X", r)
	if !refused(r) {
		m.Advice += ", or " + string(r) + " itself"
	}
}
