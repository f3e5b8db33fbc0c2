package manifest

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
	"gotest.tools/v3/golden"
)

const keysFile = "schema/KEYS.md"

// TestKeysInStep makes the page of keys from the types, the table of keys and
// the example shop; -update writes it.
func TestKeysInStep(t *testing.T) {
	page := keysPage(t)
	if golden.FlagUpdate() {
		require.NoError(t, os.WriteFile(filepath.FromSlash(keysFile), []byte(page), 0o644))
	}
	text, err := os.ReadFile(filepath.FromSlash(keysFile))
	require.NoError(t, err)
	assert.Equal(t, page, string(text), "run go test ./manifest -run TestKeysInStep -update")
}

// TestExampleShop: the examples on the page are a shop without a mistake.
func TestExampleShop(t *testing.T) {
	_, err := Load(filepath.Join("schema", "example"))
	require.NoError(t, err)
}

func TestProblem(t *testing.T) {
	for _, c := range []struct{ key, text, what string }{
		{"Model.model", "fennick-plot-12", ""},
		{"Model.model", "Fennick Plot", "not an id"},
		{"Model.kind", "rader", "unknown word"},
		{"Model.passes_on", "Fennick", "not an id"},
		{"CardRules.least", "4 GB", "not a size"},
		{"Release.released", "2026-3-2", "not a day"},
		{"Device.version", "unknown", ""},
		{"Device.version", "four", "not a version"},
		{"Device.through", "helm", ""},
		{"Release.minutes", "20", ""},
		{"Release.minutes", "1441", "wrong kind of value"},
		{"Release.minutes", "a while", "wrong kind of value"},
		{"Vessel.name", "", "empty value"},
		{"Vessel.name", "Kitti\u202ewake", "character refused"},
	} {
		m := Problem(c.key, c.text)
		if c.what == "" {
			assert.Nil(t, m, "%s: %s", c.key, c.text)
			continue
		}
		require.NotNil(t, m, "%s: %s", c.key, c.text)
		assert.Equal(t, c.what, m.What)
	}
	assert.Panics(t, func() { Problem("Model.colour", "") })
	assert.Equal(t, "what the device is", Help("Model.kind"))
}

func keysPage(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString(`# Every key of a shop's files

Made from the program's types. A key in **bold** may not be left out; any other
may. Text that YAML would take for something else is in quotes. The examples
are those of the shop in ` + "`example/`" + `, which loads without a mistake.

`)
	for _, f := range []struct {
		title string
		root  any
		files []string
	}{
		{"shop.yaml", Shop{}, []string{"shop.yaml"}},
		{"catalogue/*.yaml: one model each", Model{}, []string{"catalogue/fennick-plot-12.yaml", "catalogue/fennick-sweep-2.yaml"}},
		{"vessels/*.yaml: one vessel each", Vessel{}, []string{"vessels/kittiwake.yaml"}},
	} {
		p := keysWriter{t: t, out: &b, examples: map[string]string{}}
		for _, name := range f.files {
			text, err := os.ReadFile(filepath.Join("schema", "example", filepath.FromSlash(name)))
			require.NoError(t, err)
			var n yaml.Node
			require.NoError(t, yaml.Load(text, &n))
			p.collect(n.Content[0], reflect.TypeOf(f.root))
		}
		fmt.Fprintf(&b, "## %s\n\n", f.title)
		p.table(reflect.TypeOf(f.root), "")
	}
	return strings.TrimSuffix(b.String(), "\n")
}

type keysWriter struct {
	t        *testing.T
	out      *strings.Builder
	examples map[string]string // by type and key, the first in a file
}

func (p *keysWriter) collect(n *yaml.Node, typ reflect.Type) {
	for i := 0; i < len(n.Content); i += 2 {
		name, value := n.Content[i].Value, n.Content[i+1]
		k := slices.IndexFunc(shapes()[typ], func(k key) bool { return k.name == name })
		require.GreaterOrEqual(p.t, k, 0, name)
		field := typ.Field(shapes()[typ][k].index).Type
		if id := typ.Name() + "." + name; p.examples[id] == "" {
			p.examples[id] = exampleOf(value)
		}
		switch inner := element(field); {
		case !isMapping(inner):
		case value.Kind == yaml.SequenceNode:
			for _, e := range value.Content {
				p.collect(e, inner)
			}
		default:
			p.collect(value, inner)
		}
	}
}

// exampleOf is a value as it may be written behind its key on one line; "-" where
// it has keys of its own, which have examples of theirs.
func exampleOf(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.ScalarNode && n.Style&yaml.DoubleQuotedStyle != 0:
		return strconv.Quote(n.Value)
	case n.Kind == yaml.ScalarNode:
		return n.Value
	case n.Kind == yaml.SequenceNode && n.Content[0].Kind == yaml.ScalarNode:
		all := make([]string, len(n.Content))
		for i, c := range n.Content {
			all[i] = exampleOf(c)
		}
		return "[" + strings.Join(all, ", ") + "]"
	}
	return "-"
}

func (p *keysWriter) table(typ reflect.Type, where string) {
	if where != "" {
		fmt.Fprintf(p.out, "### %s\n\n", where)
	}
	p.out.WriteString("| key | what it says | what may stand there | example |\n| --- | --- | --- | --- |\n")
	for _, k := range shapes()[typ] {
		name := "`" + k.name + "`"
		if k.must {
			name = "**" + name + "**"
		}
		example := p.examples[typ.Name()+"."+k.name]
		require.NotEmpty(p.t, example, "no example of %s.%s", typ.Name(), k.name)
		if example == "-" {
			example = "see below"
		} else {
			example = "`" + k.name + ": " + example + "`"
		}
		fmt.Fprintf(p.out, "| %s | %s | %s | %s |\n", name, cell(k.help), cell(expected(typ.Field(k.index).Type, k)), cell(example))
	}
	p.out.WriteString("\n")
	for _, k := range shapes()[typ] {
		field := typ.Field(k.index).Type
		if inner := element(field); isMapping(inner) {
			path := strings.TrimSuffix("`"+k.name+"` of "+where, " of ")
			if field.Kind() == reflect.Slice {
				path = strings.TrimSuffix("an entry of `"+k.name+"` of "+where, " of ")
			}
			p.table(inner, path)
		}
	}
}

// expected is what a key may have.
func expected(typ reflect.Type, k key) string {
	var all []string
	inner := element(typ)
	parser, parsed := parsers[inner]
	switch {
	case k.words != nil:
		all = append(all, "one of: "+list(k.words))
	case k.form != nil:
		all = append(all, k.form.expected)
	case parsed:
		all = append(all, parser.expected)
	case k.most > 0:
		all = append(all, fmt.Sprintf("a whole number up to %d", k.most))
	case inner.Kind() == reflect.Bool:
		all = append(all, "true or false")
	case isMapping(inner):
		all = append(all, "keys and values")
	default:
		all = append(all, "text")
	}
	if typ.Kind() == reflect.Slice && !parsed {
		all[0] = "a list, each " + all[0]
	}
	if k.usual != "" {
		all = append(all, "left out: "+k.usual)
	}
	return strings.Join(all, "; ")
}

func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }
