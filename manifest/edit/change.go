package edit

import (
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"
)

// Set makes v the value of the key at the end of way. A value that is there is
// replaced where it is a scalar; a key that isn't there gets its place in order, or
// goes to the mapping's end where it has none there.
func (t *Text) Set(way Way, v Value, order KeyOrder) error {
	within, key := t.find(way[:len(way)-1]), way[len(way)-1]
	name, ok := key.(string)
	if within == nil || within.Kind != yaml.MappingNode || !ok {
		return t.refused(t.root, way, v, "there is no such place")
	}
	if old := child(within, name); old != nil {
		if old.Kind == yaml.SequenceNode && len(old.Content) == 0 {
			return t.fill(within, old, way, v)
		}
		return t.replace(old, way, v)
	}
	return t.add(within, Pair{name, v}, way, order)
}

// Insert puts v into the list at way, before its entry i, or at its end. Where
// the key isn't there it is made, as Set does.
func (t *Text) Insert(way Way, i int, v Value, order KeyOrder) error {
	list := t.find(way)
	if list == nil || list.Kind == yaml.SequenceNode && len(list.Content) == 0 {
		return t.Set(way, List{v}, order)
	}
	if list.Kind != yaml.SequenceNode || i < 0 || i > len(list.Content) {
		return t.refused(list, way, v, "it is not a list with such a place")
	}
	want := treeOf(t.root)
	at := want.find(way)
	at.content = slices.Insert(at.content, i, &tree{fresh: v})
	if list.Style&yaml.FlowStyle != 0 {
		return t.insertFlow(list, i, flow(v), way, v, want)
	}
	margin := list.Column - 1
	line := t.lastLine(list.Content[len(list.Content)-1], margin) + 1
	if i < len(list.Content) {
		line = t.aboveEntry(list.Content[i])
	}
	lines := entry(v, list.Content[min(i, len(list.Content)-1)], dashStep(list))
	return t.putLines(line, deeper(lines, margin), list, way, v, want)
}

// aboveEntry is the line of an entry's dash or, where comments are directly
// above it, of the first of those: they belong to it.
func (t *Text) aboveEntry(n *yaml.Node) int {
	line := n.Line
	for line > 1 && strings.HasPrefix(strings.TrimLeft(t.line(line-1), " "), "#") {
		line--
	}
	return line
}

// insertFlow puts an entry into brackets.
func (t *Text) insertFlow(n *yaml.Node, i int, text string, way Way, v Value, want *tree) error {
	step := 1
	if n.Kind == yaml.MappingNode {
		step = 2
	}
	if i*step < len(n.Content) {
		return t.put(t.offset(n.Content[i*step]), 0, text+", ", n, way, v, want)
	}
	if len(n.Content) == 0 {
		return t.put(t.offset(n)+1, 0, text, n, way, v, want)
	}
	end, ok := t.flowEnd(n.Content[len(n.Content)-1])
	if !ok {
		return t.refused(n, way, v, "the brackets are not understood")
	}
	return t.put(end, 0, ", "+text, n, way, v, want)
}

// add puts a key that isn't there into a mapping.
func (t *Text) add(within *yaml.Node, p Pair, way Way, order KeyOrder) error {
	place := len(within.Content) / 2
	if i := lastOf(within, order.before(p.Key)); i >= 0 {
		place = i/2 + 1
	}
	want := treeOf(t.root)
	at := want.find(way[:len(way)-1])
	at.content = slices.Insert(at.content, 2*place, &tree{fresh: p.Key}, &tree{fresh: p.Value})
	if within.Style&yaml.FlowStyle != 0 {
		return t.insertFlow(within, place, p.Key+": "+flow(p.Value), way, p.Value, want)
	}
	margin := within.Column - 1
	line := t.lastLine(within.Content[2*place-1], margin) + 1
	return t.putLines(line, deeper(blockPair(p, t.likeValue(way), within), margin), within, way, p.Value, want)
}

// lastOf is the index of the last of these keys in a mapping's content, or -1.
func lastOf(n *yaml.Node, keys []string) int {
	last := -1
	for _, k := range keys {
		last = max(last, keyAt(n, k))
	}
	return last
}

// likeValue is the value of the same key in another entry of the same list, whose
// style is to be followed; or nil.
func (t *Text) likeValue(way Way) *yaml.Node {
	if len(way) < 3 {
		return nil
	}
	list := t.find(way[:len(way)-2])
	if list == nil {
		return nil
	}
	for _, e := range list.Content {
		if n := child(e, way[len(way)-1]); n != nil {
			return n
		}
	}
	return nil
}

// fill replaces empty brackets.
func (t *Text) fill(within, old *yaml.Node, way Way, v Value) error {
	want := treeOf(t.root)
	*want.find(way) = tree{fresh: v}
	end, ok := t.flowEnd(old)
	if !ok {
		return t.refused(old, way, v, "the brackets are not understood")
	}
	at := t.offset(old)
	text := flow(v)
	if list, isList := v.(List); isList && within.Style&yaml.FlowStyle == 0 && !inOneLine(list, nil) {
		for at > 0 && t.data[at-1] == ' ' {
			at--
		}
		margin := within.Column - 1
		text = t.end + strings.Join(deeper(blockList(list, nil, within), margin), t.end)
	}
	return t.put(at, end-at, text, old, way, v, want)
}

// replace writes another scalar in place of one, in its style of quotes.
func (t *Text) replace(old *yaml.Node, way Way, v Value) error {
	if s, isText := v.(string); isText && old.Kind == yaml.ScalarNode && old.Value == s {
		return nil
	}
	end, ok := t.flowEnd(old)
	if old.Kind != yaml.ScalarNode || !isScalar(v) || !ok || old.Tag == "!!null" {
		return t.refused(old, way, v, "the value there can't be replaced")
	}
	want := treeOf(t.root)
	*want.find(way) = tree{fresh: v}
	return t.put(t.offset(old), end-t.offset(old), inStyle(old, v, t.inBrackets(way)), old, way, v, want)
}

// inStyle writes a scalar with the quotes that another has.
func inStyle(old *yaml.Node, v Value, brackets bool) string {
	s, isText := v.(string)
	switch {
	case !isText:
		return scalar(v, brackets)
	case old.Style&yaml.DoubleQuotedStyle != 0:
		return strconv.Quote(s)
	case old.Style&yaml.SingleQuotedStyle != 0 && strconv.Quote(s) == `"`+s+`"`:
		return "'" + strings.ReplaceAll(s, "'", "''") + "'"
	case old.Tag != "!!str" && isNumber(s):
		return s
	}
	return scalar(v, brackets)
}

// inBrackets says whether the value at way is within a flow collection.
func (t *Text) inBrackets(way Way) bool {
	for i := range way {
		if t.find(way[:i]).Style&yaml.FlowStyle != 0 {
			return true
		}
	}
	return false
}

// isNumber reports whether a text that YAML takes for a number comes back as it
// was written, as with 4.10.
func isNumber(s string) bool {
	return s != "" && s[0] >= '0' && s[0] <= '9' && strings.Trim(s, "0123456789.") == ""
}

// putLines puts lines before the line with this number.
func (t *Text) putLines(line int, lines []string, n *yaml.Node, way Way, v Value, want *tree) error {
	text := strings.Join(lines, t.end) + t.end
	at := t.lines[line-1]
	if at == len(t.data) && at > 0 && t.data[at-1] != '\n' {
		text = t.end + strings.TrimSuffix(text, t.end)
	}
	return t.put(at, 0, text, n, way, v, want)
}

// put replaces length bytes, and takes the change back where the text then
// doesn't have the values meant.
func (t *Text) put(at, length int, text string, n *yaml.Node, way Way, v Value, want *tree) error {
	before := *t
	changed := slices.Concat(t.data[:at], []byte(text), t.data[at+length:])
	if err := t.become(changed); err != nil || !want.same(t.root) {
		*t = before
		return t.refused(n, way, v, "the style of this place is not understood")
	}
	return nil
}

func (t *Text) refused(n *yaml.Node, way Way, v Value, why string) error {
	return &Refused{At: t.at(n), What: way.String() + ": " + flow(v), Why: why}
}

// tree is what a text should say: nodes that were there, and fresh values.
type tree struct {
	node    *yaml.Node
	content []*tree
	fresh   Value
}

func treeOf(n *yaml.Node) *tree {
	t := &tree{node: n}
	for _, c := range n.Content {
		t.content = append(t.content, treeOf(c))
	}
	return t
}

func (t *tree) find(way Way) *tree {
	for _, s := range way {
		switch s := s.(type) {
		case int:
			t = t.content[s]
		case string:
			t = t.content[keyAt(t.node, s)+1]
		}
	}
	return t
}

// same reports whether a text that was read says what it should.
func (t *tree) same(n *yaml.Node) bool {
	if t.fresh != nil {
		return says(n, t.fresh)
	}
	if t.node.Kind != n.Kind || t.node.Tag != n.Tag || t.node.Value != n.Value ||
		t.node.Anchor != n.Anchor || len(t.content) != len(n.Content) {
		return false
	}
	for i, c := range t.content {
		if !c.same(n.Content[i]) {
			return false
		}
	}
	return true
}

// says reports whether a node is what a value should be read as.
func says(n *yaml.Node, v Value) bool {
	if all, isMap := pairs(v); isMap {
		if n.Kind != yaml.MappingNode || len(n.Content) != 2*len(all) {
			return false
		}
		for i, p := range all {
			if !says(n.Content[2*i], p.Key) || !says(n.Content[2*i+1], p.Value) {
				return false
			}
		}
		return true
	}
	if list, ok := v.(List); ok {
		return n.Kind == yaml.SequenceNode && slices.EqualFunc(n.Content, list, says)
	}
	if p, ok := v.(Plain); ok {
		return n.Kind == yaml.ScalarNode && n.Value == string(p)
	}
	return n.Kind == yaml.ScalarNode && n.Value == v
}
