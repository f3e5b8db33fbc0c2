package manifest

import (
	"reflect"
	"strings"

	"go.yaml.in/yaml/v4"
)

// Problem is what Load would report of a text as the value of a key, or as an entry of
// it; nil where it is allowed. A key is named by the Go type and its name:
// "Model.kind". One that doesn't exist panics.
func Problem(key, text string) *Mistake {
	t, k := keyOf(key)
	var found collector
	d := decoder{found: &found}
	tag := strTag
	switch {
	case t.Kind() == reflect.Int:
		tag = intTag
	case t.Kind() == reflect.Bool && (text == "true" || text == "false"):
		tag = boolTag
	}
	d.value(&yaml.Node{Kind: yaml.ScalarNode, Tag: tag, Value: text}, reflect.New(t).Elem(), k, &Source{})
	if len(found.all) == 0 {
		return nil
	}
	return &found.all[0]
}

// Help is what a key means, for people who are asked for its value.
func Help(key string) string {
	_, k := keyOf(key)
	return k.help
}

func keyOf(name string) (reflect.Type, key) {
	typeName, keyName, _ := strings.Cut(name, ".")
	for t, keys := range shapes() {
		for _, k := range keys {
			if t.Name() == typeName && k.name == keyName {
				return element(t.Field(k.index).Type), k
			}
		}
	}
	panic("no key " + name)
}

// Nearest is the candidate that a mistyped word was most likely meant to be, or
// "".
func Nearest(word string, candidates []string) string { return nearest(word, candidates) }
