package intake

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"maps"
	"slices"
	"strings"
)

// branch is a part of a list in JSON or XML, such as a Metalink (RFC 5854): a key
// or element, and what is in it.
type branch struct {
	key  string
	text string
	kids []*branch
}

// readTree reads a list in JSON or XML; it is false for any other.
func (l *list) readTree(text string) bool {
	trimmed := strings.TrimSpace(text)
	var root *branch
	switch trimmed[0] {
	case '{', '[':
		var v any
		if json.Unmarshal([]byte(trimmed), &v) != nil {
			return false
		}
		root = fromJSON("", v)
	case '<':
		if root = fromXML(trimmed); root == nil {
			return false
		}
	default:
		return false
	}
	r := treeReader{lineReader{list: l, ofName: kindOfName(l.name)}}
	for _, d := range r.read(root, 0) {
		r.add("", d.text, d.kinds[0], d.digest)
	}
	return true
}

func fromJSON(key string, v any) *branch {
	b := &branch{key: key}
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			b.kids = append(b.kids, fromJSON(k, v[k]))
		}
	case []any:
		for _, e := range v {
			b.kids = append(b.kids, fromJSON("", e))
		}
	case string:
		b.text = v
	}
	return b
}

// fromXML is nil where the text isn't well-formed, or is nested too deep.
func fromXML(text string) *branch {
	in := xml.NewDecoder(strings.NewReader(text))
	in.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil } // it was decoded before
	root := &branch{}
	open := []*branch{root}
	for {
		t, err := in.Token()
		if errors.Is(err, io.EOF) {
			return root
		}
		if err != nil || len(open) > maxListDepth {
			return nil
		}
		top := open[len(open)-1]
		switch t := t.(type) {
		case xml.StartElement:
			b := &branch{key: t.Name.Local}
			for _, a := range t.Attr {
				b.kids = append(b.kids, &branch{key: a.Name.Local, text: a.Value})
			}
			top.kids, open = append(top.kids, b), append(open, b)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			top.text = strings.TrimSpace(top.text + string(t))
		}
	}
}

// treeReader adds the digests of a tree with the names next to them.
type treeReader struct{ lineReader }

// read adds the digests of a branch that has a name. Those of a branch without one
// it returns, for the branch around it.
func (r *treeReader) read(b *branch, depth int) []listed {
	if depth > maxListDepth {
		return nil
	}
	var name string
	var told kind
	var unnamed []listed
	for _, kid := range b.kids {
		switch word := keyWord(kid.key); {
		case len(kid.kids) > 0 || kid.text == "":
		case slices.Contains(nameKeys, word) && name == "" && len(tokensIn(kid.text)) == 0:
			name = kid.text
		case slices.Contains(kindKeys, word):
			if all := kindsIn(kid.text); len(all) == 1 {
				told = all[0].kind
			}
		}
	}
	if d, ok := r.digest(b, told); ok {
		unnamed = append(unnamed, d)
	}
	for _, kid := range b.kids {
		inside := r.read(kid, depth+1)
		if _, isDigest := digestKey(kid.key); !isDigest && kid.key != "" && likeName.MatchString(kid.key) {
			r.named(kid.key, inside)
			continue
		}
		for i := range inside {
			if inside[i].kinds[0] == "" {
				inside[i].kinds[0] = told
			}
		}
		unnamed = append(unnamed, inside...)
	}
	if name == "" {
		return unnamed
	}
	r.named(name, unnamed)
	return nil
}

func (r *treeReader) named(name string, all []listed) {
	for _, d := range all {
		r.add(name, "", d.kinds[0], d.digest)
	}
}

// digest is the digest that makes up a branch's own text.
func (r *treeReader) digest(b *branch, told kind) (listed, bool) {
	k, _ := digestKey(b.key)
	if k == "" {
		k = told
	}
	text := strings.TrimSpace(b.text)
	if k != "" {
		text = hexOfText(text, k)
	}
	t := tokensIn(text)
	if len(t) != 1 || len(text)-len(t[0].digest) > mostAround {
		return listed{}, false
	}
	if t[0].kind != "" {
		k = t[0].kind
	}
	if k.traits().digits != len(t[0].digest) {
		k = ""
	}
	return listed{kinds: []kind{k}, digest: t[0].digest}, true
}

// mostAround is how many characters may be around a digest in a value: the
// word for its kind.
const mostAround = 16
