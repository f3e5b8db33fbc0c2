package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"cardwright/media/intake/adding"
	"cardwright/verify/visible"
)

// runPackageTable takes in the downloads of a table, a row each.
func runPackageTable(ctx context.Context, s *session, name string) error {
	table, wrong := readTable(name, adding.Columns)
	if wrong != nil && mistakes(wrong) == nil {
		return wrong
	}
	all, err := adding.TakeTable(ctx, s.packageShop(), name, table, mistakes(wrong))
	if rows, ok := errors.AsType[*adding.RowMistakes](err); ok {
		return mistakesIn(name, rows.All)
	}
	if err != nil {
		return err
	}
	s.answer(addedAll{Format: 1, Files: all}, func(w io.Writer) { tellTable(w, all) })
	return nil
}

func tellTable(w io.Writer, all []adding.Added) {
	there := 0
	for _, a := range all {
		if a.WasThere {
			there++
		}
	}
	text := counted(len(all)-there, "package") + " taken in"
	if there > 0 {
		text += fmt.Sprintf(", %d there already, intact", there)
	}
	fmt.Fprintf(w, "✓ %s\n", text)
	for _, a := range all {
		fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(fmt.Sprintf("%s %s: %s, %s", a.Model, a.Version, a.Name, shortTrust[a.Trust])), "    "))
		for _, n := range a.Notes {
			writeLabelled(w, "note", n)
		}
	}
}
