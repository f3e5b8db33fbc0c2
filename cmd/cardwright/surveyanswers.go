package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"cardwright/manifest"
	"cardwright/verify/ledger/record"
)

// answers takes what was found aboard into ledger and file.
func (v *surveying) answers(ctx context.Context) error {
	path := v.options.answers
	data, err := readAtMost(path, record.MaxSheet)
	if err != nil {
		return fmt.Errorf("reading the answers: %w", err)
	}
	filled, err := record.ReadSurvey(path, data, v.shop)
	if ms, ok := errors.AsType[manifest.Mistakes](err); ok {
		return mistakesIn(path, ms)
	}
	if err != nil {
		return err
	}
	if filled.Latin1 {
		v.complain(readAsLatin1)
	}
	v.options.at, v.by = or(v.options.at, filled.Found), or(v.by, filled.By)
	at, err := v.moment(ctx)
	if err != nil {
		return err
	}
	file, err := v.reopen()
	if err != nil {
		return err
	}
	if err := mistakesIn(path, record.SurveyMistakes(v.shop, v.vessel, filled.Table)); err != nil {
		return err
	}
	return v.save(ctx, file, record.SurveyFromTable(v.vessel, filled.Table, at, v.options.at != ""))
}

// readAtMost reads a file and one byte more than it may have, for its reader to
// refuse.
func readAtMost(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // opened for reading only
	return io.ReadAll(io.LimitReader(f, most+1))
}
