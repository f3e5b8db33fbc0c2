package edit

import (
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"
)

// Value is what can be written: a string (text, quoted where YAML needs it),
// Plain, List, Map or Inline.
type Value any

// Plain is a value that is written as it is: true, 20, 4GB, 2026-03-02.
type Plain string

// List is a list. One of scalars is written on one line.
type List []Value

// Map is keys and values, a line each; Inline is the same on one line. Where
// entries like it are in the file already, theirs is the style.
type (
	Map    []Pair
	Inline []Pair
)

// Pair is one key and its value; nil leaves the key out.
type Pair struct {
	Key   string
	Value Value
}

// pairs are the keys of a mapping that have a value.
func pairs(v Value) ([]Pair, bool) {
	var all []Pair
	switch m := v.(type) {
	case Map:
		all = m
	case Inline:
		all = m
	default:
		return nil, false
	}
	var given []Pair
	for _, p := range all {
		if p.Value != nil {
			given = append(given, p)
		}
	}
	return given, true
}

// isScalar reports whether a value is written on one line whatever the style.
func isScalar(v Value) bool {
	switch v.(type) {
	case string, Plain:
		return true
	}
	return false
}

// Scalar is a text as it is written behind a key, in quotes where it needs them.
func Scalar(text string) string { return scalar(text, false) }

// scalar writes a text so that YAML reads that very text, on a line of its own
// or within brackets.
func scalar(v Value, brackets bool) string {
	s, ok := v.(string)
	if !ok {
		p, _ := v.(Plain)
		return string(p)
	}
	if safePlain("k: "+s+"\nl: m\n", s) && (!brackets || safePlain("k: ["+s+", m]\nl: m\n", s)) {
		return s
	}
	return strconv.Quote(s)
}

// safePlain reports whether a text written without quotes in a file of two
// keys, alone or as the first of two entries, is read as that very text.
func safePlain(file, s string) bool {
	var n yaml.Node
	if s == "" || strings.ContainsAny(s, "\n\r\t") || yaml.Load([]byte(file), &n) != nil || len(n.Content) != 1 {
		return false
	}
	if n.Content[0].Kind != yaml.MappingNode || len(n.Content[0].Content) != 4 {
		return false
	}
	v := n.Content[0].Content[1]
	if v.Kind == yaml.SequenceNode && len(v.Content) == 2 {
		v = v.Content[0]
	}
	return v.Kind == yaml.ScalarNode && v.Tag == "!!str" && v.Value == s && v.Style == 0 && v.LineComment == ""
}

// flow writes a value on one line.
func flow(v Value) string {
	switch all, isMap := pairs(v); {
	case isMap:
		parts := make([]string, len(all))
		for i, p := range all {
			parts[i] = p.Key + ": " + flow(p.Value)
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case isScalar(v):
		return scalar(v, true)
	}
	list, _ := v.(List)
	parts := make([]string, len(list))
	for i, e := range list {
		parts[i] = flow(e)
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

// block writes the lines of a mapping, in the style of one that is there
// already, or nil.
func block(all []Pair, like *yaml.Node) []string {
	var lines []string
	for _, p := range all {
		var of *yaml.Node
		if like != nil {
			of = child(like, p.Key)
		}
		lines = append(lines, blockPair(p, of, like)...)
	}
	return lines
}

// indent is how much deeper than its key a value is written where the file doesn't
// show it.
const indent = 2

// blockPair writes one key and its value. of is the value of the same key
// of a mapping of its kind, or nil.
func blockPair(p Pair, of, parent *yaml.Node) []string {
	inner, isMap := pairs(p.Value)
	switch v := p.Value.(type) {
	case string:
		return []string{p.Key + ": " + scalar(v, false)}
	case Inline:
		if of == nil || of.Style&yaml.FlowStyle != 0 {
			return []string{p.Key + ": " + flow(v)}
		}
	case List:
		if inOneLine(v, of) {
			return []string{p.Key + ": " + flow(v)}
		}
		return append([]string{p.Key + ":"}, blockList(v, of, parent)...)
	}
	if !isMap || of != nil && of.Style&yaml.FlowStyle != 0 {
		return []string{p.Key + ": " + flow(p.Value)}
	}
	return append([]string{p.Key + ":"}, deeper(block(inner, of), step(of, parent))...)
}

// step is how much deeper than its key a value of the same kind is indented.
func step(of, parent *yaml.Node) int {
	if of != nil && parent != nil && of.Line > parent.Line && of.Column >= parent.Column {
		return of.Column - parent.Column
	}
	return indent
}

func inOneLine(v List, of *yaml.Node) bool {
	if of != nil && len(of.Content) > 0 {
		return of.Style&yaml.FlowStyle != 0
	}
	for _, e := range v {
		if !isScalar(e) {
			return false
		}
	}
	return true
}

func blockList(v List, of, parent *yaml.Node) []string {
	var lines []string
	for _, e := range v {
		lines = append(lines, entry(e, firstOf(of), dashStep(of))...)
	}
	return deeper(lines, step(of, parent))
}

func firstOf(list *yaml.Node) *yaml.Node {
	if list == nil || len(list.Content) == 0 {
		return nil
	}
	return list.Content[0]
}

// dashStep is how far behind its dash an entry begins.
func dashStep(list *yaml.Node) int {
	if first := firstOf(list); first != nil && first.Line == list.Line && first.Column > list.Column {
		return first.Column - list.Column
	}
	return indent
}

// entry writes the lines of one entry of a list, with its dash.
func entry(v Value, like *yaml.Node, gap int) []string {
	lines := []string{flow(v)}
	if all, isMap := pairs(v); isMap && !entryInOneLine(v, like) {
		lines = block(all, like)
	}
	lines = deeper(lines, gap)
	lines[0] = "-" + lines[0][1:]
	return lines
}

func entryInOneLine(v Value, like *yaml.Node) bool {
	if like != nil && like.Kind == yaml.MappingNode {
		return like.Style&yaml.FlowStyle != 0
	}
	_, inline := v.(Inline)
	return inline
}

func deeper(lines []string, by int) []string {
	all := make([]string, len(lines))
	for i, l := range lines {
		all[i] = strings.Repeat(" ", by) + l
	}
	return all
}
