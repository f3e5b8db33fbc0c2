package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest/pattern"
	"cardwright/manifest/problem"
)

// Bounds on one file.
const (
	maxDepth   = 12     // lists and mappings inside one another
	maxBreaks  = 20_000 // commas, opening brackets and line ends; between two of them stand three values at most
	MaxEntries = 2000   // entries of one list
)

// limits stops the YAML parser early on files built to exhaust it.
type limits struct{}

var (
	errDeep  = fmt.Errorf("lists and mappings more than %d deep", maxDepth)
	errAlias = errors.New("a YAML alias")
)

// CheckDepth implements yaml.LoaderLimitsPlugin.
func (limits) CheckDepth(depth int, _ *yaml.DepthContext) error {
	if depth > maxDepth {
		return errDeep
	}
	return nil
}

// CheckAlias implements yaml.LoaderLimitsPlugin.
func (limits) CheckAlias(aliases, _ int) error {
	if aliases > 0 {
		return errAlias
	}
	return nil
}

// parse reads a file's text into its one mapping. It reports what can't be
// read, and what YAML has that a shop's files don't: anchors, aliases, tags,
// further documents. It returns nil when the rest can't be looked at.
func parse(file string, data []byte, found *collector) *yaml.Node {
	if at, ok := tooMany(file, data); ok {
		found.add(Mistake{
			At: at, What: "file with too much in it", Problem: problem.Problem{
				Found:    fmt.Sprintf("more than %d commas, brackets and lines", maxBreaks),
				Expected: "the keys of a shop's file",
			},
		})
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(data), yaml.WithPlugin(limits{}))
	if err != nil {
		found.add(unreadable(file, err))
		return nil
	}
	var doc, next yaml.Node
	if err := loader.Load(&doc); err != nil {
		found.add(halved(unreadable(file, err), data))
		return nil
	}
	w := walk{file, found}
	switch err := loader.Load(&next); {
	case err == nil:
		w.refuse(&next, "a second document after ---", "one document in a file")
	case !errors.Is(err, io.EOF):
		found.add(unreadable(file, err))
	}
	w.plain(&doc)
	if len(doc.Content) != 1 {
		return nil
	}
	return doc.Content[0]
}

// Read reads a file's text into its one mapping, with the bounds of Load and
// before its types: what it returns is plain YAML, and may say anything. The
// error is Mistakes.
func Read(file string, data []byte) (*yaml.Node, error) {
	found := &collector{}
	if len(data) > MaxFileBytes {
		found.add(Mistake{
			At: Pos{File: file}, What: "file too large", Problem: problem.Problem{
				Found:    fmt.Sprintf("%d bytes", len(data)),
				Expected: fmt.Sprintf("at most %d bytes", MaxFileBytes),
			},
		})
		return nil, found.all
	}
	if m := foreignText(file, data); m != nil {
		return nil, Mistakes{*m}
	}
	checkText(file, data, found)
	if len(found.all) > 0 {
		return nil, found.sorted()
	}
	root := parse(file, data, found)
	if root != nil && root.Kind != yaml.MappingNode {
		found.add(Mistake{At: at(file, root), What: "wrong kind of value", Problem: problem.Problem{Found: describe(root), Expected: "keys and values"}})
	}
	if len(found.all) > 0 || root == nil {
		return nil, found.sorted()
	}
	return root, nil
}

// tooMany finds the place from which on a file is more than a parser should
// be given: its tree would take some hundred times the room of the text.
func tooMany(file string, data []byte) (Pos, bool) {
	line, start, breaks := 1, 0, 0
	for i, c := range data {
		switch c {
		case '\n':
			line, start = line+1, i+1
		case ',', '[', '{':
		default:
			continue
		}
		if breaks++; breaks > maxBreaks {
			return Pos{file, line, utf8.RuneCount(data[start:i+1]) + 1}, true
		}
	}
	return Pos{}, false
}

// walk looks for what isn't plain YAML.
type walk struct {
	file  string
	found *collector
}

func (w *walk) plain(n *yaml.Node) {
	switch {
	case n.Kind == yaml.AliasNode:
		w.refuse(n, "the alias "+quote("*"+n.Value), plainValue)
	case n.Anchor != "":
		w.refuse(n, "the anchor "+quote("&"+n.Anchor), plainValue)
	case n.Style&yaml.TaggedStyle != 0:
		w.refuse(n, "the tag "+quote(n.Tag), plainValue)
	}
	for _, c := range n.Content {
		w.plain(c)
	}
}

// notPlain tells whether walk has refused the value of a node already.
func notPlain(n *yaml.Node) bool { return n.Kind == yaml.AliasNode || n.Style&yaml.TaggedStyle != 0 }

const plainValue = "the value itself, written out: no anchors, aliases or tags"

func (w *walk) refuse(n *yaml.Node, what, expected string) {
	w.found.add(Mistake{At: at(w.file, n), What: "not accepted here", Problem: problem.Problem{Found: what, Expected: expected}})
}

func at(file string, n *yaml.Node) Pos { return Pos{File: file, Line: n.Line, Column: n.Column} }

// unreadable puts the YAML parser's error into plain words.
func unreadable(file string, err error) Mistake {
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
	for _, p := range parserWords {
		if strings.Contains(told.Message, p.message) || strings.Contains(told.ContextMsg, p.message) {
			m.Found, m.Expected, m.Advice = p.found, p.expected, p.hint
			break
		}
	}
	return m
}

const halfFound = "the escape of half a character (a surrogate, \\uD800 to \\uDFFF), or of none"

var escapedPair = pattern.Of(`\\u([dD][89aAbB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})`)

// halved completes the mistake of a character that is escaped in two halves, as
// JSON does it, with what YAML has for it.
func halved(m Mistake, data []byte) Mistake {
	if m.Found != halfFound {
		return m
	}
	lines := bytes.Split(data, []byte("\n"))
	if pair := escapedPair.FindSubmatch(lines[min(m.At.Line, len(lines))-1]); pair != nil {
		high, _ := strconv.ParseUint(string(pair[1]), 16, 16) // the pattern has hex digits alone
		low, _ := strconv.ParseUint(string(pair[2]), 16, 16)
		r := utf16.DecodeRune(rune(high), rune(low))
		m.Found = "a character in two escapes, " + string(pair[0]) + ", as JSON has it"
		m.Advice = fmt.Sprintf("\\U%08X", r)
		if !refused(r) {
			m.Advice += ", or " + string(r) + " itself"
		}
	}
	return m
}

// parserWords says in our words what the YAML parser's commonest messages mean.
var parserWords = []struct{ message, found, expected, hint string }{
	{errDeep.Error(), errDeep.Error(), "the keys of a shop's file", ""},
	{"Unicode character", halfFound, "the character itself, or its one escape: \\U0001F600", ""},
	{"unknown anchor", "a YAML alias", plainValue, ""},
	{"scanning a block scalar", "a value that begins with > or |", "a range in quotes", `put quotes around it, as in ">= 3.0"`},
	{"cannot start any token", "a character that can't begin a value (or a tab)", "lines indented with spaces", "put quotes around the value, or spaces in place of a tab"},
	{"mapping values are not allowed", "a second colon, or a line indented too far", "key: value, each on its own line", "put quotes around a value that holds a colon and a space"},
	{"scanning a quoted scalar", "a quotation mark that is not closed", "a closing quotation mark", ""},
	{"could not find expected ':'", "a line without a colon", "key: value", ""},
	{"parsing a block mapping", "a line that is not indented like its neighbours", "keys of one mapping in one column", ""},
	{"parsing a block collection", "a line that is not indented like its neighbours", "entries of one list in one column", ""},
	{"parsing a flow", "brackets that are not closed, or a comma missing", "[a, b] or {key: value}", ""},
}
