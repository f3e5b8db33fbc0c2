package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"cardwright/manifest/problem"
)

// form is the part of JSON Schema (draft 2020-12) that Schema uses. A library
// would compile the schemas of all drafts at every start of the program; that
// this one agrees with such a library is tested.
type form struct {
	Schema      string `json:"$schema"`
	Title       string `json:"title"`
	Description string `json:"description"`

	Type       string           `json:"type"`
	Const      any              `json:"const"`
	Enum       []any            `json:"enum"`
	Required   []string         `json:"required"`
	Properties map[string]*form `json:"properties"`
	Additional *bool            `json:"additionalProperties"`
	MinLength  *int             `json:"minLength"`
	MaxLength  *int             `json:"maxLength"`
	Pattern    string           `json:"pattern"`
	Minimum    *float64         `json:"minimum"`
	Maximum    *float64         `json:"maximum"`
	MaxItems   *int             `json:"maxItems"`
	Items      *form            `json:"items"`
}

// The forms of a filled sheet and of a survey's answers.
var (
	filledForm  = sync.OnceValues(func() (*form, error) { return formIn(Schema) })
	answersForm = sync.OnceValues(func() (*form, error) { return formIn(AnswersSchema) })
)

// formIn reads a schema. A keyword that isn't checked here is an error, and not
// passed over.
func formIn(schema []byte) (*form, error) {
	var f form
	d := json.NewDecoder(bytes.NewReader(schema))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return nil, fmt.Errorf("reading a form: %w", err)
	}
	return &f, nil
}

// decodeJSON reads one JSON value, with numbers as they are written.
func decodeJSON(data []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	var doc any
	if err := d.Decode(&doc); err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something follows the end of the value")
	}
	return doc, nil
}

// formCheck gathers what a document has against a form.
type formCheck struct {
	doc  any
	list Mistakes
}

func (c *formCheck) add(at []string, expected string, args ...any) {
	if len(c.list) < maxMistakes {
		c.list = append(c.list, Mistake{"/" + strings.Join(at, "/"), problem.Problem{
			Found: foundAt(c.doc, at), Expected: "what the form allows: " + fmt.Sprintf(expected, args...),
		}})
	}
}

func (c *formCheck) check(f *form, value any, at []string) {
	if f.Type != "" && !isType(f.Type, value) {
		c.add(at, "got %s, want %s", typeOf(value), f.Type)
		return
	}
	if f.Const != nil && !sameValue(f.Const, value) {
		c.add(at, "value must be %s", inForm(f.Const))
	}
	if f.Enum != nil && !slices.ContainsFunc(f.Enum, func(v any) bool { return sameValue(v, value) }) {
		words := make([]string, len(f.Enum))
		for i, v := range f.Enum {
			words[i] = inForm(v)
		}
		c.add(at, "value must be one of %s", strings.Join(words, ", "))
	}
	switch v := value.(type) {
	case string:
		c.text(f, v, at)
	case json.Number:
		c.number(f, v, at)
	case []any:
		c.items(f, v, at)
	case map[string]any:
		c.object(f, v, at)
	}
}

func (c *formCheck) text(f *form, s string, at []string) {
	n := utf8.RuneCountInString(s)
	switch {
	case f.MinLength != nil && n < *f.MinLength:
		c.add(at, "got %d characters, want at least %d", n, *f.MinLength)
	case f.MaxLength != nil && n > *f.MaxLength:
		c.add(at, "got %d characters, want at most %d", n, *f.MaxLength)
	case f.Pattern != "" && !regexp.MustCompile(f.Pattern).MatchString(s):
		c.add(at, "a text of the form %s", f.Pattern)
	}
}

func (c *formCheck) number(f *form, n json.Number, at []string) {
	value := asFloat(n)
	switch {
	case f.Minimum != nil && value < *f.Minimum:
		c.add(at, "got %s, want at least %v", n, *f.Minimum)
	case f.Maximum != nil && value > *f.Maximum:
		c.add(at, "got %s, want at most %v", n, *f.Maximum)
	}
}

func (c *formCheck) items(f *form, list []any, at []string) {
	if f.MaxItems != nil && len(list) > *f.MaxItems {
		c.add(at, "got %d entries, want at most %d", len(list), *f.MaxItems)
	}
	if f.Items == nil {
		return
	}
	for i, v := range list {
		c.check(f.Items, v, append(slices.Clone(at), strconv.Itoa(i)))
	}
}

func (c *formCheck) object(f *form, object map[string]any, at []string) {
	var missing, unknown []string
	for _, key := range f.Required {
		if _, ok := object[key]; !ok {
			missing = append(missing, "'"+key+"'")
		}
	}
	for _, key := range slices.Sorted(maps.Keys(object)) {
		if of := f.Properties[key]; of != nil {
			c.check(of, object[key], append(slices.Clone(at), key))
		} else if f.Additional != nil && !*f.Additional {
			unknown = append(unknown, "'"+key+"'")
		}
	}
	if missing != nil {
		c.add(at, "missing: %s", strings.Join(missing, ", "))
	}
	if unknown != nil {
		c.add(at, "no key %s", strings.Join(unknown, ", "))
	}
}

func isType(want string, value any) bool {
	n, number := value.(json.Number)
	if want == "integer" {
		f := asFloat(n)
		return number && f == math.Trunc(f)
	}
	return typeOf(value) == want
}

func typeOf(value any) string {
	switch value.(type) {
	case nil:
		return "null"
	case bool:
		return "boolean"
	case string:
		return "string"
	case json.Number:
		return "number"
	case []any:
		return "array"
	}
	return "object"
}

// asFloat is a number's value; one that is too large for a float64 is infinite.
func asFloat(n json.Number) float64 {
	f, _ := strconv.ParseFloat(string(n), 64)
	return f
}

// sameValue compares a text or number of the form with one of a document.
func sameValue(form, value any) bool {
	if n, ok := value.(json.Number); ok {
		f, ok := form.(float64)
		return ok && f == asFloat(n)
	}
	s, ok := value.(string)
	return ok && form == any(s)
}

func inForm(v any) string {
	if s, ok := v.(string); ok {
		return "'" + s + "'"
	}
	return fmt.Sprint(v)
}
