package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/verify/ledger/record"
)

// readSheet takes what a filled sheet says, and the plan that it is filled in for.
func (v *visiting) readSheet() error {
	f, err := os.Open(v.options.sheet)
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	defer f.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(f, record.MaxSheet+1))
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	if strings.EqualFold(filepath.Ext(v.options.sheet), ".csv") {
		err = v.readTable(text)
	} else {
		err = v.readJSON(text)
	}
	if err != nil || v.options.otherPlan {
		return err
	}
	ask, err := v.options.ask.ask()
	if err != nil {
		return err
	}
	v.job.PlanFor(&v.filled, v.shop, ask)
	return nil
}

// readAsLatin1 is the note on a table whose encoding was a guess.
const readAsLatin1 = "the table isn't UTF-8: it was read as Latin-1, as Windows writes it; check the letters in what is noted"

// readTable takes a table, which says neither whose it is nor of which plan.
func (v *visiting) readTable(text []byte) error {
	v.visit.ID = record.VisitOf(append([]byte(v.vessel.ID+"\n"), text...)) // two boats may give the same table
	filled, err := record.ReadCSV(bytes.NewReader(text))
	if err != nil {
		return usage(err)
	}
	if filled.Latin1 {
		v.session.complain(readAsLatin1)
	}
	filled.Format, filled.Vessel, filled.Plan, filled.By = v.filled.Format, v.filled.Vessel, v.filled.Plan, v.filled.By
	v.filled = filled
	return nil
}

// readJSON takes the file that the page on a phone saved.
func (v *visiting) readJSON(text []byte) error {
	v.visit.ID = record.VisitOf(text)
	filled, err := record.ReadJSON(text)
	if err != nil {
		return usage(err)
	}
	if slices.Contains(v.vessel.Formerly, filled.Vessel) { // it was printed before she was renamed
		filled.Vessel = v.vessel.ID
	}
	if filled.Vessel != v.vessel.ID {
		return usage(v.job.Belongs(filled, v.visit))
	}
	if filled.By == "" {
		filled.By = v.filled.By
	}
	v.filled = filled
	return nil
}
