package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest/problem"
)

// Bounds on one file.
const (
	maxDepth   = 12     // lists and mappings inside one another
	maxBreaks  = 20_000 // commas, opening brackets and line ends; between two of them are three values at most
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
// further documents. It returns nil where there is nothing to go on with.
func parse(file string, data []byte, found *collector) *yaml.Node {
	if at, ok := tooMany(file, data); ok {
		found.add(Mistake{
			At: at, What: "too much in the file", Problem: problem.Problem{
				Found:    fmt.Sprintf("more than %d commas, brackets and lines", maxBreaks),
				Expected: fmt.Sprintf("at most %d", maxBreaks),
			},
		})
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(data), yaml.WithPlugin(limits{}))
	if err != nil {
		found.add(unreadable(file, data, err))
		return nil
	}
	var doc, next yaml.Node
	if err := loader.Load(&doc); err != nil {
		found.add(unreadable(file, data, err))
		return nil
	}
	w := walk{file, found}
	switch err := loader.Load(&next); {
	case err == nil:
		w.refuse(&next, "a second document after ---", "one document in a file")
	case !errors.Is(err, io.EOF):
		found.add(unreadable(file, data, err))
	}
	w.plain(&doc)
	if len(doc.Content) != 1 {
		return nil
	}
	return doc.Content[0]
}

// Read reads a file's text into its one mapping, within the bounds of Load. The keys
// and values may still be any: they are not held to the types of a shop's files. The
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

// tooMany finds the place at which a file has more in it than the parser is given: a
// tree takes some hundred times the memory of its text.
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

// walk reports what isn't plain YAML.
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

// notPlain reports whether walk has refused the value of a node already.
func notPlain(n *yaml.Node) bool { return n.Kind == yaml.AliasNode || n.Style&yaml.TaggedStyle != 0 }

const plainValue = "the value itself, written out: no anchors, aliases or tags"

func (w *walk) refuse(n *yaml.Node, what, expected string) {
	w.found.add(Mistake{At: at(w.file, n), What: "not accepted here", Problem: problem.Problem{Found: what, Expected: expected}})
}

func at(file string, n *yaml.Node) Pos { return Pos{File: file, Line: n.Line, Column: n.Column} }
