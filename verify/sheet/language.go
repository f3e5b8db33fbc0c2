package sheet

import (
	"embed"
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

//go:embed words/*.yaml
var wordFiles embed.FS

// English is the language of a sheet that names none.
const English = "en"

// Languages lists the languages that a sheet can be in, by their codes of
// BCP 47; each has all its words in one file under words.
func Languages() []string {
	entries, err := wordFiles.ReadDir("words")
	if err != nil { // the folder is part of the program
		panic(err)
	}
	var codes []string
	for _, e := range entries {
		codes = append(codes, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(codes)
	return codes
}

// words are the words of one language.
type words map[string]string

// speak reads a language's words. A language that isn't there is an error; the
// files themselves are part of the program and checked by its tests.
func speak(language string) (words, error) {
	if language == "" {
		language = English
	}
	if !slices.Contains(Languages(), language) {
		return nil, fmt.Errorf("no install order in language %q; there are %s", language, strings.Join(Languages(), ", "))
	}
	text, err := wordFiles.ReadFile("words/" + language + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("reading words: %w", err)
	}
	var w words
	if err := yaml.Unmarshal(text, &w); err != nil {
		return nil, fmt.Errorf("reading words of %s: %w", language, err)
	}
	return w, nil
}

// say gives the text of key with its {names} filled in; fill holds names and
// values in turn. A value is never looked into, whatever braces it has.
func (w words) say(key string, fill ...string) string {
	pairs := make([]string, 0, len(fill))
	for i := 0; i+1 < len(fill); i += 2 {
		pairs = append(pairs, "{"+fill[i]+"}", fill[i+1])
	}
	return strings.NewReplacer(pairs...).Replace(w[key])
}
