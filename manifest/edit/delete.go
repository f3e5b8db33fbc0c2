package edit

import (
	"slices"

	"go.yaml.in/yaml/v4"
)

// Delete takes out the entry of a list, or a key with its value, at the end of
// way. With its last entry a list goes, and with its last key a mapping. Comments
// above what goes stay: they may speak of more.
func (t *Text) Delete(way Way) error {
	within := t.find(way[:len(way)-1])
	place, step := placeIn(within, way[len(way)-1])
	if place < 0 {
		return t.refused(t.root, way, "", "there is nothing to take out")
	}
	if len(within.Content) == step && len(way) > 1 {
		return t.Delete(way[:len(way)-1])
	}
	want := treeOf(t.root)
	at := want.find(way[:len(way)-1])
	at.content = slices.Delete(at.content, place, place+step)
	from, to, ok := t.blockExtent(within, place, step)
	if within.Style&yaml.FlowStyle != 0 {
		from, to, ok = t.flowExtent(within, place, step)
	}
	if !ok {
		return t.refused(within.Content[place], way, "", "the style of this place is not understood")
	}
	return t.put(from, to-from, "", within.Content[place], way, "", want)
}

// placeIn is the index of an entry's or a key's node among those of its list or
// mapping, and how many nodes it has; -1 where it doesn't.
func placeIn(within *yaml.Node, key any) (place, step int) {
	switch k := key.(type) {
	case int:
		if within != nil && within.Kind == yaml.SequenceNode && k >= 0 && k < len(within.Content) {
			return k, 1
		}
	case string:
		if within != nil {
			return keyAt(within, k), 2
		}
	}
	return -1, 0
}

// blockExtent are the lines of an entry, or of a key with its value.
func (t *Text) blockExtent(within *yaml.Node, place, step int) (from, to int, ok bool) {
	first, last := within.Content[place], within.Content[place+step-1]
	if first.Line > t.count() {
		return 0, 0, false
	}
	until := t.lastLine(last, within.Column-1)
	if next := place + step; next < len(within.Content) {
		until = min(until, t.aboveEntry(within.Content[next])-1)
	}
	if until < first.Line {
		return 0, 0, false
	}
	return t.lines[first.Line-1], t.lines[until], true
}

// flowExtent is an entry between brackets with the comma that goes with it.
func (t *Text) flowExtent(within *yaml.Node, place, step int) (from, to int, ok bool) {
	if next := place + step; next < len(within.Content) {
		return t.offset(within.Content[place]), t.offset(within.Content[next]), true
	}
	if to, ok = t.flowEnd(within.Content[place+step-1]); !ok {
		return 0, 0, false
	}
	if place == 0 {
		return t.offset(within.Content[0]), to, true
	}
	from, ok = t.flowEnd(within.Content[place-1])
	return from, to, ok
}
