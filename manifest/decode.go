package manifest

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// decoder fills the manifest's types from the nodes of one file, strictly,
// and goes on after a mistake to find the others.
type decoder struct {
	file  string
	known map[rune]bool // characters already reported as refused
	found *collector
}

// positioned is what embeds Source.
type positioned interface{ SetAt(key string, p Pos) }

func (d *decoder) mistake(n *yaml.Node, what, found, expected, hint string) {
	d.found.add(Mistake{At: at(d.file, n), What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
}

// mapping fills the struct out from n.
func (d *decoder) mapping(n *yaml.Node, out reflect.Value) {
	keys := shapes()[out.Type()]
	if n.Kind != yaml.MappingNode {
		d.wrongKind(n, "keys and values: "+list(names(keys)))
		return
	}
	source := out.Addr().Interface().(positioned)
	source.SetAt("", at(d.file, n))
	seen := seenKeys{map[string]*yaml.Node{}, map[string]bool{}}
	for i := 0; i+1 < len(n.Content); i += 2 {
		name, value := n.Content[i], n.Content[i+1]
		if k, ok := d.key(name, keys, seen); ok {
			source.SetAt(k.name, at(d.file, value))
			d.value(value, out.Field(k.index), k, source)
		}
	}
	d.leftOut(n, out, keys, seen)
}

// seenKeys is which keys a mapping has.
type seenKeys struct {
	given map[string]*yaml.Node
	meant map[string]bool // by a misspelt one
}

// key finds the field of a mapping's key, and reports a key that is unknown or
// given twice.
func (d *decoder) key(name *yaml.Node, keys []key, seen seenKeys) (key, bool) {
	if notPlain(name) {
		return key{}, false
	}
	i := slices.IndexFunc(keys, func(k key) bool { return name.Kind == yaml.ScalarNode && k.name == name.Value })
	if i < 0 {
		meant := nearest(name.Value, names(keys))
		d.mistake(name, "unknown key", describe(name), "one of "+list(names(keys)), meant)
		seen.meant[meant] = true
		return key{}, false
	}
	if first, ok := seen.given[name.Value]; ok {
		d.mistake(name, "key given twice", quote(name.Value)+" again", fmt.Sprintf("each key once; the first is in line %d", first.Line), "")
		return key{}, false
	}
	seen.given[name.Value] = name
	return keys[i], true
}

// leftOut reports the keys that must be there and aren't, and gives the
// others their usual value.
func (d *decoder) leftOut(n *yaml.Node, out reflect.Value, keys []key, seen seenKeys) {
	for _, k := range keys {
		field := out.Field(k.index)
		switch {
		case k.must && seen.given[k.name] == nil && !seen.meant[k.name]:
			d.mistake(n, "missing key", "no "+k.name, k.name+": "+k.help, "")
		case k.usual != "" && field.IsZero():
			field.SetString(k.usual)
		case seen.given[k.name] == nil && isMapping(field.Type()):
			field.Addr().Interface().(positioned).SetAt("", at(d.file, n))
		}
	}
}

// value fills out, the value of key k, from n.
func (d *decoder) value(n *yaml.Node, out reflect.Value, k key, source positioned) {
	switch t := out.Type(); {
	case t.Kind() == reflect.Pointer: // set even when the value is refused, so that no entry of a list is nil
		fresh := reflect.New(t.Elem())
		d.value(n, fresh.Elem(), k, source)
		out.Set(fresh)
	case notPlain(n):
	case t == versionType || t == rangeType || t == sizeType || t == dateType:
		d.parsed(n, out, k)
	case t.Kind() == reflect.Slice:
		d.list(n, out, k, source)
	case t.Kind() == reflect.Struct:
		d.mapping(n, out)
	case t.Kind() == reflect.Bool:
		d.boolean(n, out)
	case t.Kind() == reflect.Int:
		d.count(n, out, k)
	default:
		d.text(n, out, k)
	}
}

func (d *decoder) list(n *yaml.Node, out reflect.Value, k key, source positioned) {
	entries := n.Content
	switch {
	case k.single && n.Kind == yaml.ScalarNode && n.Tag != nullTag:
		entries = []*yaml.Node{n}
	case n.Kind != yaml.SequenceNode:
		d.wrongKind(n, "a list: "+k.help)
		return
	case len(entries) > MaxEntries:
		d.mistake(n, "list too long", fmt.Sprintf("%d entries", len(entries)), fmt.Sprintf("at most %d", MaxEntries), "")
		return
	}
	all := reflect.MakeSlice(out.Type(), len(entries), len(entries))
	for i, e := range entries {
		source.SetAt(entryKey(k.name, i), at(d.file, e))
		d.value(e, all.Index(i), k, source)
	}
	out.Set(all)
}

// entryKey is the key under which Source keeps where an entry of a list
// is: through[0].
func entryKey(key string, i int) string { return fmt.Sprintf("%s[%d]", key, i) }

// text fills a string of any type.
func (d *decoder) text(n *yaml.Node, out reflect.Value, k key) {
	s, ok := d.scalar(n, k)
	if !ok {
		return
	}
	if s == "" {
		if k.must {
			d.mistake(n, "empty value", `""`, k.help, "")
		}
		return
	}
	if k.words != nil && !slices.Contains(k.words, s) {
		d.mistake(n, "unknown word", quote(s), "one of "+list(k.words), nearest(s, k.words))
		return
	}
	if k.form != nil {
		if problem := k.form.wrong(s); problem != "" {
			d.mistake(n, "not "+k.form.name, problem, k.form.expected, "")
			return
		}
		if k.form == &sha256Hex {
			s = strings.ToLower(s)
		}
	}
	out.SetString(s)
}

// scalar returns the text of n as it is written. Numbers are text only where
// the key says so, since YAML readers other than this one would change them.
func (d *decoder) scalar(n *yaml.Node, k key) (string, bool) {
	expected := "text: " + k.help
	switch {
	case n.Kind != yaml.ScalarNode || n.Tag == nullTag || n.Tag == boolTag:
		d.wrongKind(n, expected)
		return "", false
	case n.Tag != strTag && !k.digits:
		d.mistake(n, "wrong kind of value", describe(n), expected, "put quotes round it: "+quote(n.Value))
		return "", false
	}
	text := n.Value
	if n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		text = strings.TrimRight(text, "\n") // block text ends with one unless >- says otherwise
	}
	r, bad := firstRefused(text)
	if bad && !d.known[r] {
		d.mistake(n, "character refused", charName(r)+", in "+quote(text), "one line of text, of characters that can be seen", lineHint(r))
	}
	return text, !bad
}

func lineHint(r rune) string {
	if r == '\n' {
		return "write >- in place of |, and no empty lines"
	}
	return ""
}

// parsed fills a version, range, size or day.
func (d *decoder) parsed(n *yaml.Node, out reflect.Value, k key) {
	k.digits = true
	s, ok := d.scalar(n, k)
	if !ok {
		return
	}
	p := parsers[out.Type()]
	v, err := p.parse(s)
	switch {
	case k.unknown && s == string(version.Unknown):
		out.SetString(s)
	case err != nil:
		d.mistake(n, "not "+p.name, err.Error(), p.expected, p.hint(s))
	case k.must && s == "":
		d.mistake(n, "empty value", `""`, p.expected, "")
	default:
		out.Set(reflect.ValueOf(v))
	}
}

func (d *decoder) boolean(n *yaml.Node, out reflect.Value) {
	switch strings.ToLower(n.Value) {
	case "true", "false":
		if n.Tag == boolTag {
			out.SetBool(strings.EqualFold(n.Value, "true"))
			return
		}
		d.mistake(n, "wrong kind of value", describe(n), "true or false", "leave the quotes out")
	case "yes", "on":
		d.mistake(n, "wrong kind of value", describe(n), "true or false", "true")
	case "no", "off":
		d.mistake(n, "wrong kind of value", describe(n), "true or false", "false")
	default:
		d.wrongKind(n, "true or false")
	}
}

func (d *decoder) count(n *yaml.Node, out reflect.Value, k key) {
	i, err := strconv.Atoi(n.Value)
	if n.Kind != yaml.ScalarNode || n.Tag != intTag || err != nil || i < 0 || i > k.most {
		d.wrongKind(n, fmt.Sprintf("a whole number from 0 to %d", k.most))
		return
	}
	out.SetInt(int64(i))
}

func (d *decoder) wrongKind(n *yaml.Node, expected string) {
	hint := ""
	if n.Tag == nullTag {
		hint = "leave the key out when there is nothing to say"
	}
	d.mistake(n, "wrong kind of value", describe(n), expected, hint)
}

// The tags that YAML gives to plain values.
const (
	strTag  = "!!str"
	nullTag = "!!null"
	boolTag = "!!bool"
	intTag  = "!!int"
)

// describe says what a node is, with its text when it has one.
func describe(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "keys and values"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Tag == nullTag:
		return "nothing"
	case n.Tag == strTag:
		return quote(n.Value)
	}
	return quote(n.Value) + " without quotes"
}

func names(keys []key) []string {
	all := make([]string, len(keys))
	for i, k := range keys {
		all[i] = k.name
	}
	return all
}

func list(words []string) string { return strings.Join(words, ", ") }
