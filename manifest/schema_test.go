package manifest

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/invopop/jsonschema"
	validator "github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
	"gotest.tools/v3/golden"
)

// kinds of file, with the type that each is read into.
var kinds = map[string]any{"shop": &Shop{}, "model": &Model{}, "vessel": &Vessel{}}

// TestSchemasInStep makes the schemas from the types and compares them with
// the files; -update writes the files.
func TestSchemasInStep(t *testing.T) {
	for kind, root := range kinds {
		if golden.FlagUpdate() {
			require.NoError(t, os.WriteFile(filepath.Join("schema", kind+".schema.json"), makeSchema(t, root), 0o644))
		}
		text, err := os.ReadFile(filepath.Join("schema", kind+".schema.json"))
		require.NoError(t, err)
		assert.Equal(t, string(makeSchema(t, root)), string(text), "run go test ./manifest -run TestSchemasInStep -update")
	}
}

// TestEveryKeyIsDescribed keeps the table of keys and the types in step.
func TestEveryKeyIsDescribed(t *testing.T) {
	described := map[string]bool{}
	for typ, keys := range shapes() {
		for _, k := range keys {
			name := typ.Name() + "." + k.name
			assert.NotEmpty(t, fields[name].help, name)
			described[name] = true
		}
	}
	for name := range fields {
		assert.True(t, described[name], "no type has %s", name)
	}
}

// TestDemoFilesFitTheirSchemas judges the demo shop by a general validator.
func TestDemoFilesFitTheirSchemas(t *testing.T) {
	for _, c := range []struct{ kind, files string }{
		{"shop", "shop.yaml"}, {"model", "catalogue/*.yaml"}, {"vessel", "vessels/*.yaml"},
	} {
		files, err := filepath.Glob(filepath.Join("..", "testdata", "shop", c.files))
		require.NoError(t, err)
		require.NotEmpty(t, files)
		for _, f := range files {
			text, err := os.ReadFile(f)
			require.NoError(t, err)
			assert.NoError(t, judge(t, c.kind, text), f)
		}
	}
}

// makeSchema makes the JSON Schema of one kind of file from its type and the
// table of keys.
func makeSchema(t *testing.T, root any) []byte {
	t.Helper()
	r := jsonschema.Reflector{Anonymous: true, ExpandedStruct: true, FieldNameTag: "yaml", Mapper: valueSchema}
	s := r.Reflect(root)
	delete(s.Definitions, "Source")
	for typ, keys := range shapes() {
		def := s.Definitions[typ.Name()]
		if typ == reflect.TypeOf(root).Elem() {
			def = s
		}
		if def != nil {
			describeKeys(def, typ, keys)
		}
	}
	text, err := json.MarshalIndent(s, "", "  ")
	require.NoError(t, err)
	return append(text, '\n')
}

func describeKeys(s *jsonschema.Schema, typ reflect.Type, keys []key) {
	s.Required = nil
	for _, k := range keys {
		p, _ := s.Properties.Get(k.name)
		value := p
		if typ.Field(k.index).Type.Kind() == reflect.Slice && p.Items != nil {
			value = p.Items
		}
		narrow(value, k.field, typ.Field(k.index).Type)
		if k.single {
			entry := *p.Items
			p = &jsonschema.Schema{AnyOf: []*jsonschema.Schema{&entry, {Type: "array", Items: p.Items}}}
		}
		if k.usual != "" {
			p.Default = k.usual
		}
		if k.must {
			s.Required = append(s.Required, k.name)
		}
		if slices.Contains(neverEmpty, typ.Name()+"."+k.name) {
			one := uint64(1)
			p.MinItems = &one
		}
		p.Description = k.help
		s.Properties.Set(k.name, p)
	}
	if keys := together[typ.Name()]; keys != nil {
		extra(s, "dependentRequired", keys)
		extra(s, "dependencies", keys) // the same, for editors that know draft-07 only
	}
}

// narrow says in a value's schema what the table knows about it.
func narrow(s *jsonschema.Schema, f field, t reflect.Type) {
	optional := !f.must && t.Kind() != reflect.Slice
	for _, w := range f.words {
		s.Enum = append(s.Enum, w)
	}
	if f.words != nil && optional {
		s.Enum = append(s.Enum, "")
	}
	if f.form != nil {
		s.Pattern = f.form.pattern
		if f.form.full != "" {
			s.Pattern = f.form.full
		}
		if optional {
			s.Pattern = "^$|" + s.Pattern
		}
		if f.form.never != "" {
			s.Not = &jsonschema.Schema{Type: "string", Pattern: f.form.never}
		}
		tell(s, "expected "+f.form.expected)
		if n := digitsOf[f.form]; n > 0 && f.digits { // a number without quotes
			s.Maximum = json.Number(strings.Repeat("9", n))
			s.Minimum = json.Number("1" + strings.Repeat("0", n-1))
		}
	}
	if p, ok := parsers[t]; ok {
		tell(s, "expected "+p.expected)
	}
	if t == rangeType {
		f.digits = false // 3.0 without a comparison is no range
	}
	if f.most > 0 {
		s.Minimum, s.Maximum = "0", json.Number(strconv.Itoa(f.most))
	}
	if f.unknown {
		s.Pattern = "^unknown$|" + s.Pattern
	}
	if f.must && s.Type == "string" {
		one := uint64(1)
		s.MinLength = &one
	}
	if f.digits && s.Type == "string" {
		s.Type = ""
		extra(s, "type", []string{"string", "number"})
	}
}

// digitsOf is how many digits the forms have that are numbers.
var digitsOf = map[*form]int{&mmsi: 9, &imoNumber: 7}

// tell is what editors say where a text isn't of its form (patternErrorMessage,
// which yaml-language-server and other editors read beside the standard's keys).
func tell(s *jsonschema.Schema, expected string) { extra(s, "patternErrorMessage", expected) }

func extra(s *jsonschema.Schema, key string, value any) {
	if s.Extras == nil {
		s.Extras = map[string]any{}
	}
	s.Extras[key] = value
}

// together are keys that only go with others, and lists that may not be empty,
// as checkshop.go has it.
var (
	together = map[string]map[string][]string{
		"Device": {"hold": {"hold_why"}, "hold_why": {"hold"}},
		"File":   {"unpack": {"members"}, "members": {"unpack"}},
	}
	neverEmpty = []string{"Vessel.devices", "File.members"}
)

// valueSchema gives the schemas of values that have a text of their own.
func valueSchema(t reflect.Type) *jsonschema.Schema {
	zero := json.Number("0")
	switch t {
	case versionType:
		return &jsonschema.Schema{Type: "string", Pattern: `^[vV]?[0-9][0-9A-Za-z.+~:-]*$`}
	case rangeType:
		return &jsonschema.Schema{Type: "string", Pattern: `^ *$|^ *(>=|<=|>|<|=) *[vV]?[0-9][0-9A-Za-z.+~:-]* *(, *(>=|<=|>|<|=) *[vV]?[0-9][0-9A-Za-z.+~:-]* *)*$`}
	case sizeType:
		return &jsonschema.Schema{
			Minimum: zero, Pattern: `^(0|[1-9][0-9]*)([kMGT]B|[KMGT]iB)?$`,
			Extras: map[string]any{"type": []string{"integer", "string"}},
		}
	case dateType:
		return &jsonschema.Schema{Type: "string", Pattern: `^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$`}
	}
	return nil
}

// judge validates a YAML text against the schema of its kind.
func judge(t *testing.T, kind string, text []byte) error {
	t.Helper()
	raw, err := Schemas.ReadFile("schema/" + kind + ".schema.json")
	require.NoError(t, err)
	doc, err := validator.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	c := validator.NewCompiler()
	require.NoError(t, c.AddResource("it.json", doc))
	s, err := c.Compile("it.json")
	require.NoError(t, err)
	var n yaml.Node
	require.NoError(t, yaml.Load(text, &n))
	return s.Validate(plainJSON(t, n.Content[0]))
}

// plainJSON turns a YAML node into what JSON would hold, as editors do: days
// stay text.
func plainJSON(t *testing.T, n *yaml.Node) any {
	t.Helper()
	switch n.Kind {
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i < len(n.Content); i += 2 {
			m[n.Content[i].Value] = plainJSON(t, n.Content[i+1])
		}
		return m
	case yaml.SequenceNode:
		all := []any{}
		for _, c := range n.Content {
			all = append(all, plainJSON(t, c))
		}
		return all
	}
	switch n.Tag {
	case "!!int", "!!float":
		f, err := strconv.ParseFloat(strings.ReplaceAll(n.Value, "_", ""), 64)
		require.NoError(t, err)
		return f
	case "!!bool":
		return strings.EqualFold(n.Value, "true")
	case "!!null":
		return nil
	}
	return n.Value
}
