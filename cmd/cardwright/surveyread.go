package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
	"cardwright/verify/ledger/record"
)

// toldBeside is what a survey says besides its devices; "": nothing.
type toldBeside struct {
	found  string // when, as --at takes it
	by     string
	latin1 bool // its letters were a guess
}

// readAnswers reads what was found aboard: a table, or the file that the page on
// a phone saved.
func readAnswers(path string, shop *manifest.Shop) (*tables.Table, toldBeside, error) {
	data, err := readAtMost(path, record.MaxSheet)
	if err != nil {
		return nil, toldBeside{}, fmt.Errorf("reading the answers: %w", err)
	}
	if !bytes.HasPrefix(bytes.TrimLeft(data, "\ufeff \t\r\n"), []byte("{")) {
		text, latin1 := record.InUTF8(data)
		table, err := tables.Read(path, text, record.SurveyColumns)
		return table, toldBeside{latin1: latin1}, asMistakes(path, err)
	}
	answers, err := record.ReadAnswers(bytes.TrimPrefix(data, []byte("\ufeff")))
	if err != nil {
		return nil, toldBeside{}, asMistakes(path, placed(path, err))
	}
	table, err := answers.Table(path, shop)
	return table, toldBeside{found: answers.Found, by: answers.By}, asMistakes(path, err)
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

func asMistakes(path string, err error) error {
	if ms, ok := errors.AsType[manifest.Mistakes](err); ok {
		return mistakesIn(path, ms)
	}
	return err
}

// placed are problems of a file's form as mistakes in that file.
func placed(path string, err error) error {
	var ms manifest.Mistakes
	problems, ok := errors.AsType[record.Mistakes](err)
	if !ok {
		return manifest.Mistakes{{At: manifest.Pos{File: path}, What: "not a saved survey", Problem: problem.Problem{Found: err.Error(), Expected: "the file that the survey's page saved, or its table (CSV)"}}}
	}
	for _, p := range problems {
		ms = append(ms, manifest.Mistake{At: manifest.Pos{File: path}, What: "not as a saved survey is, at " + p.Where, Problem: problem.Problem{Found: p.Found, Expected: p.Expected}})
	}
	return ms
}
