package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/tables"
)

// readTable reads a table that a person filled in.
func readTable(path string, columns []tables.Column) (*tables.Table, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading the table: %w", err)
	}
	defer f.Close() // opened for reading only
	data, err := io.ReadAll(io.LimitReader(f, manifest.MaxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading the table: %w", err)
	}
	table, err := tables.Read(path, data, columns)
	if ms, ok := errors.AsType[manifest.Mistakes](err); ok {
		return table, mistakesIn(path, ms)
	}
	return table, err
}

// inOrder are mistakes in a table, in its order.
func inOrder(ms manifest.Mistakes) manifest.Mistakes {
	slices.SortStableFunc(ms, func(a, b manifest.Mistake) int {
		return cmp.Or(a.At.Line-b.At.Line, a.At.Column-b.At.Column)
	})
	return ms
}

// inputMistakes are mistakes in what was given to a command, apart from the
// shop's own files.
type inputMistakes struct {
	name string
	all  manifest.Mistakes
}

func mistakesIn(name string, ms manifest.Mistakes) error {
	if len(ms) == 0 {
		return nil
	}
	return &inputMistakes{name, ms}
}

func (e *inputMistakes) Error() string {
	text := counted(len(e.all), "mistake") + " in " + e.name + "; nothing was written"
	var b strings.Builder
	b.WriteString(text)
	for _, m := range e.all[:min(len(e.all), manifest.ShownMistakes)] {
		b.WriteString("\n\n" + m.String())
	}
	if more := len(e.all) - manifest.ShownMistakes; more > 0 {
		fmt.Fprintf(&b, "\n\nand %d more", more)
	}
	return b.String()
}

func (e *inputMistakes) Unwrap() error { return e.all }
