// Package edit changes a shop's YAML files as a careful person with an editor
// would: it puts text in or replaces one value, and every other byte stays, and with
// it comments, order and style. It knows what a model, a package, a vessel and a
// device become there: in which order of keys, and what is usual where nobody said.
//
// A change is made to the text and to what the text says, side by side; the
// changed text is read again, and where it doesn't say what it should the
// change is refused. So a style that this package doesn't understand costs a
// message, never a file.
package edit

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest"
)

// Text is the text of one YAML file, one mapping, that can be changed.
type Text struct {
	name  string
	data  []byte
	end   string // what ends a line
	root  *yaml.Node
	order []*yaml.Node // all nodes, in the order of the file
	lines []int        // where each line begins, and the end of the text
}

// Refused says that a change can't be made in the style of the file. The file
// is as it was.
type Refused struct {
	At   manifest.Pos
	What string // what should be written there
	Why  string
}

func (e *Refused) Error() string {
	return fmt.Sprintf("%s: %s; write it by hand: %s", e.At, e.Why, e.What)
}

// Way leads to a value: the names of keys and, from 0, the places of entries.
type Way []any

func (w Way) String() string {
	var b strings.Builder
	for _, step := range w {
		switch s := step.(type) {
		case int:
			fmt.Fprintf(&b, "[%d]", s)
		default:
			if b.Len() > 0 {
				b.WriteByte('.')
			}
			fmt.Fprint(&b, s)
		}
	}
	return b.String()
}

const byteOrderMark = "\ufeff"

// Parse reads a file's text. Messages use name.
func Parse(name string, data []byte) (*Text, error) {
	t := &Text{name: name, end: "\n"}
	if bytes.Contains(data, []byte("\r\n")) {
		t.end = "\r\n"
	}
	return t, t.become(data)
}

// become makes data the text, or leaves the text as it was.
func (t *Text) become(data []byte) error {
	root, err := manifest.Read(t.name, data)
	if err != nil {
		return fmt.Errorf("reading %s: %w", t.name, err)
	}
	t.data, t.root, t.order, t.lines = data, root, nil, nil
	t.listNodes(t.root)
	for at := 0; at < len(data); {
		t.lines = append(t.lines, at)
		n := bytes.IndexByte(data[at:], '\n')
		if n < 0 {
			break
		}
		at += n + 1
	}
	t.lines = append(t.lines, len(data))
	return nil
}

// listNodes lists a node and all that is in it, in the order of the text.
func (t *Text) listNodes(n *yaml.Node) {
	t.order = append(t.order, n)
	for _, c := range n.Content {
		t.listNodes(c)
	}
}

// Bytes is the text as it is now.
func (t *Text) Bytes() []byte { return slices.Clone(t.data) }

// Len is how many entries the list at way has; 0 where it isn't there.
func (t *Text) Len(way ...any) int {
	if n := t.find(way); n != nil && n.Kind == yaml.SequenceNode {
		return len(n.Content)
	}
	return 0
}

// find is the value at the end of way, or nil.
func (t *Text) find(way Way) *yaml.Node {
	n := t.root
	for _, step := range way {
		n = child(n, step)
		if n == nil {
			return nil
		}
	}
	return n
}

func child(n *yaml.Node, step any) *yaml.Node {
	switch s := step.(type) {
	case int:
		if n.Kind == yaml.SequenceNode && s >= 0 && s < len(n.Content) {
			return n.Content[s]
		}
	case string:
		if i := keyAt(n, s); i >= 0 {
			return n.Content[i+1]
		}
	}
	return nil
}

// keyAt is the place of a key among the nodes of a mapping, or -1.
func keyAt(n *yaml.Node, key string) int {
	if n.Kind != yaml.MappingNode {
		return -1
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Kind == yaml.ScalarNode && n.Content[i].Value == key {
			return i
		}
	}
	return -1
}

// offset is where a node begins in the text. The parser counts characters, and
// doesn't count a byte order mark. A value that is left out at the end of a text
// begins, by its account, on a line that isn't there.
func (t *Text) offset(n *yaml.Node) int {
	if n.Line > t.count() {
		return len(t.data)
	}
	at, end := t.lines[n.Line-1], t.lines[n.Line]
	if at == 0 && bytes.HasPrefix(t.data, []byte(byteOrderMark)) {
		at = len(byteOrderMark)
	}
	for range n.Column - 1 {
		if at >= end {
			break
		}
		_, size := utf8.DecodeRune(t.data[at:])
		at += size
	}
	return at
}

// line is the text of a line, counted from 1, without its end.
func (t *Text) line(n int) string {
	return strings.TrimRight(string(t.data[t.lines[n-1]:t.lines[n]]), "\r\n")
}

func (t *Text) count() int { return len(t.lines) - 1 }

// lastLine is the last line that belongs to a block node. Comments behind it
// belong to it where they are indented deeper than margin, the column (from 0) of its
// key or dash.
func (t *Text) lastLine(n *yaml.Node, margin int) int {
	last := t.count()
	if next := t.after(n); next != nil {
		last = next.Line - 1
	}
	for ; last > n.Line; last-- {
		text := strings.TrimLeft(t.line(last), " ")
		depth := len(t.line(last)) - len(text)
		if text != "" && (text[0] != '#' || depth > margin) {
			break
		}
	}
	return min(max(last, n.Line), t.count())
}

// after is the node that follows a node and all that is in it, or nil.
func (t *Text) after(n *yaml.Node) *yaml.Node {
	last := n
	for len(last.Content) > 0 {
		last = last.Content[len(last.Content)-1]
	}
	if i := slices.Index(t.order, last) + 1; i < len(t.order) {
		return t.order[i]
	}
	return nil
}

// flowEnd is where a value within brackets, or a scalar on one line, ends.
func (t *Text) flowEnd(n *yaml.Node) (int, bool) {
	at := t.offset(n)
	switch {
	case n.Kind == yaml.ScalarNode && n.Style&yaml.DoubleQuotedStyle != 0:
		return t.closing(at, '"')
	case n.Kind == yaml.ScalarNode && n.Style&yaml.SingleQuotedStyle != 0:
		return t.closing(at, '\'')
	case n.Kind == yaml.ScalarNode:
		return at + len(n.Value), n.Style == 0 && bytes.HasPrefix(t.data[at:], []byte(n.Value))
	case n.Style&yaml.FlowStyle == 0:
		return 0, false
	}
	return t.bracket(n, at)
}

// closing is the end of a quoted scalar that begins at at.
func (t *Text) closing(at int, quote byte) (int, bool) {
	if at >= len(t.data) || t.data[at] != quote {
		return 0, false
	}
	for i := at + 1; i < len(t.data); i++ {
		switch c := t.data[i]; {
		case c == '\\' && quote == '"':
			i++
		case c == quote && quote == '\'' && i+1 < len(t.data) && t.data[i+1] == quote:
			i++
		case c == quote:
			return i + 1, true
		}
	}
	return 0, false
}

// bracket is the end of a flow collection: the bracket that closes it follows
// its last entry, with nothing but spaces, a comma and comments between.
func (t *Text) bracket(n *yaml.Node, at int) (int, bool) {
	end := at + 1
	if len(n.Content) > 0 {
		var ok bool
		if end, ok = t.flowEnd(n.Content[len(n.Content)-1]); !ok {
			return 0, false
		}
	}
	for i := end; i < len(t.data); i++ {
		switch t.data[i] {
		case ']', '}':
			return i + 1, true
		case ' ', '\t', '\r', '\n', ',':
		case '#':
			for i+1 < len(t.data) && t.data[i+1] != '\n' {
				i++
			}
		default:
			return 0, false
		}
	}
	return 0, false
}

func (t *Text) at(n *yaml.Node) manifest.Pos {
	return manifest.Pos{File: t.name, Line: n.Line, Column: n.Column}
}
