// Package tables reads and writes the tables that people keep in spreadsheets
// (CSV). Reading takes UTF-8, and UTF-16 with its mark; text in another encoding, such
// as Latin-1, is refused with the place of the first byte that shows it, unless the
// caller takes it FromLatin1, as a table filled in aboard is.
// Every mistake has its line and column, and all come at once.
//
// Writing guards each cell that a spreadsheet would run as a formula or take for
// a number or a day: 4.10 would become 4.1. Read takes the guards off again.
package tables

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/problem"
)

// Column is one column of a table, and the key of the shop's files whose rules
// its cells obey: "Device.version".
type Column struct {
	Name string
	Key  string // "": any text
	Must bool   // may not be left out, nor have an empty cell
}

// Table is a table with a heading line, as spreadsheets write it.
type Table struct {
	name  string
	given []string // the columns of the file, "" for one without a heading
	Rows  []Row
}

// Row is one line of a table that has something in it.
type Row struct {
	table *Table
	cells []string
	at    []manifest.Pos
}

// Get is the cell of a column, "" where it is empty.
func (r Row) Get(column string) string {
	if i := slices.Index(r.table.given, column); i >= 0 && i < len(r.cells) {
		return r.cells[i]
	}
	return ""
}

// At is where the cell of a column is, or where the line begins.
func (r Row) At(column string) manifest.Pos {
	if i := slices.Index(r.table.given, column); i >= 0 && i < len(r.at) {
		return r.at[i]
	}
	return r.at[0]
}

// Read reads a table of these columns, in any order, separated by commas,
// semicolons or tabs. Messages use name. What doesn't fit is Mistakes,
// all at once; the table then has what could be read, so that its caller can find
// further mistakes.
func Read(name string, data []byte, columns []Column) (*Table, error) {
	t := &tableReader{table: &Table{name: name}, columns: columns}
	switch {
	case len(data) > manifest.MaxFileBytes:
		t.mistake(manifest.Pos{File: name}, "file too large", fmt.Sprintf("more than %d bytes", manifest.MaxFileBytes), fmt.Sprintf("at most %d bytes", manifest.MaxFileBytes), "")
	default:
		t.text(data)
	}
	if len(t.found) > 0 {
		return t.table, t.found
	}
	return t.table, nil
}

// Of makes a table of rows that stood in another form, each with its place
// there. Their cells are held to the rules of their columns, as Read does.
func Of(name string, columns []Column, rows [][]string, at []manifest.Pos) (*Table, error) {
	t := &tableReader{table: &Table{name: name}, columns: columns}
	for _, c := range columns {
		t.table.given = append(t.table.given, c.Name)
	}
	for i, cells := range rows {
		places := make([]manifest.Pos, len(cells))
		for k := range places {
			places[k] = at[i]
		}
		t.row(cells, places)
	}
	if len(t.found) > 0 {
		return t.table, t.found
	}
	return t.table, nil
}

type tableReader struct {
	table   *Table
	columns []Column
	found   manifest.Mistakes
}

func (t *tableReader) mistake(at manifest.Pos, what, found, expected, hint string) {
	if len(t.found) < manifest.MaxMistakes {
		t.found = append(t.found, manifest.Mistake{At: at, What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
	}
}

func (t *tableReader) read(data []byte) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.FieldsPerRecord = separator(data), -1
	r.TrimLeadingSpace = r.Comma != '\t' // an empty cell would be one of those spaces
	lines := bytes.Split(data, []byte("\n"))
	for first := true; ; first = false {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			t.ended(first)
			return
		}
		if err != nil {
			t.unreadable(err, lines)
			return
		}
		at := make([]manifest.Pos, len(cells))
		for i := range cells {
			line, column := r.FieldPos(i)
			at[i] = t.at(lines, line, column)
			cells[i] = plain(strings.TrimSpace(cells[i]))
		}
		if first {
			t.heading(cells, at)
		} else {
			t.row(cells, at)
		}
	}
}

// ended refuses a table without a row.
func (t *tableReader) ended(first bool) {
	found := "nothing below the heading line"
	if first {
		found = "nothing"
	}
	if len(t.table.Rows)+len(t.found) == 0 {
		t.mistake(manifest.Pos{File: t.table.name}, "empty table", found, "a heading line, then a line for each", "")
	}
}

// separator is what the heading line has most of: spreadsheets use semicolons
// where the comma separates decimals.
func separator(data []byte) rune {
	line, _, _ := bytes.Cut(data, []byte("\n"))
	best := ','
	for _, c := range ";\t" {
		if bytes.Count(line, []byte(string(c))) > bytes.Count(line, []byte(string(best))) {
			best = c
		}
	}
	return best
}

// at is a place by its column in characters; the CSV reader counts bytes.
func (t *tableReader) at(lines [][]byte, line, column int) manifest.Pos {
	if text := lines[min(line, len(lines))-1]; column > 0 && column <= len(text) {
		column = utf8.RuneCount(text[:column-1]) + 1
	}
	return manifest.Pos{File: t.table.name, Line: line, Column: column}
}

// unreadable puts the CSV reader's error into plain words.
func (t *tableReader) unreadable(err error, lines [][]byte) {
	at := manifest.Pos{File: t.table.name}
	var told *csv.ParseError
	if errors.As(err, &told) {
		if at = t.at(lines, told.Line, told.Column); told.StartLine < told.Line {
			at.Line, at.Column = told.StartLine, 0 // the quotes that aren't closed begin there
		}
	}
	found := "text that is not CSV"
	switch {
	case errors.Is(err, csv.ErrBareQuote):
		found = `a " inside a cell that isn't in quotes`
	case errors.Is(err, csv.ErrQuote):
		found = `a cell in quotes that isn't closed, or goes on behind its closing "`
	}
	t.mistake(at, "not readable as a table", found, `cells separated by commas; one that holds a comma or a " in quotes, with "" for each " inside`, "")
}

// maxColumns is the most columns that a table may have.
const maxColumns = 64

func (t *tableReader) heading(cells []string, at []manifest.Pos) {
	if len(cells) > maxColumns {
		t.mistake(at[maxColumns], "too many columns", fmt.Sprintf("%d", len(cells)), fmt.Sprintf("at most %d", maxColumns), "")
		cells = cells[:maxColumns]
	}
	var names []string
	for _, c := range t.columns {
		names = append(names, c.Name)
	}
	for i, c := range cells {
		name := strings.ReplaceAll(strings.ToLower(c), " ", "_")
		switch {
		case slices.Contains(t.table.given, name) && name != "":
			t.mistake(at[i], "column given twice", fmt.Sprintf("%q again", name), "each column once", "")
		case !slices.Contains(names, name) && name != "":
			t.mistake(at[i], "unknown column", quoted(c), "one of "+strings.Join(names, ", "), manifest.Nearest(name, names))
		}
		t.table.given = append(t.table.given, name)
	}
	for _, c := range t.columns {
		if c.Must && !slices.Contains(t.table.given, c.Name) {
			t.mistake(at[0], "missing column", "no "+c.Name, "a heading line with "+c.Name, "")
		}
	}
}

func (t *tableReader) row(cells []string, at []manifest.Pos) {
	if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
		return
	}
	row := Row{t.table, cells, at}
	switch {
	case len(t.table.Rows) == manifest.MaxEntries:
		t.mistake(at[0], "table too long", "more lines", fmt.Sprintf("at most %d", manifest.MaxEntries), "")
		return
	case len(t.table.Rows) > manifest.MaxEntries:
		return
	}
	t.outside(cells, at)
	for _, c := range t.columns {
		t.cell(c, row)
	}
	t.table.Rows = append(t.table.Rows, row)
}

// outside reports the first cell without a heading above it: it would be lost without
// a word, and often a comma that isn't in quotes has put it there.
func (t *tableReader) outside(cells []string, at []manifest.Pos) {
	for i, c := range cells {
		if c != "" && (i >= len(t.table.given) || t.table.given[i] == "") {
			t.mistake(at[i], "cell without a heading", quoted(c), "nothing there", "put a cell that holds the separator in quotes")
			return
		}
	}
}

func (t *tableReader) cell(c Column, row Row) {
	text := row.Get(c.Name)
	if text == "" {
		if c.Must && slices.Contains(t.table.given, c.Name) {
			t.mistake(row.At(c.Name), "empty cell", "nothing", c.Name, "")
		}
		return
	}
	if c.Key == "" {
		return
	}
	if m := manifest.Problem(c.Key, text); m != nil {
		m.At = row.At(c.Name)
		t.mistake(m.At, m.What, m.Found, m.Expected, m.Advice)
	}
}

// maxQuoted is how many characters of a cell a message repeats.
const maxQuoted = 60

func quoted(s string) string {
	if r := []rune(s); len(r) > maxQuoted {
		return fmt.Sprintf("%q…", string(r[:maxQuoted]))
	}
	return fmt.Sprintf("%q", s)
}

// Write writes a table that a spreadsheet shows as it is. Read reads the same
// cells back.
func Write(w io.Writer, columns []string, rows [][]string) error {
	out := NewWriter(w)
	for _, row := range append([][]string{columns}, rows...) {
		if err := out.Row(row); err != nil {
			return err
		}
	}
	return out.Flush()
}

// Writer is Write for rows that come one after another, the heading first.
type Writer struct{ csv *csv.Writer }

// NewWriter begins a table.
func NewWriter(w io.Writer) *Writer { return &Writer{csv.NewWriter(w)} }

// Row writes one row.
func (w *Writer) Row(cells []string) error {
	safe := make([]string, len(cells))
	for i, c := range cells {
		safe[i] = guarded(c)
	}
	if err := w.csv.Write(safe); err != nil {
		return fmt.Errorf("writing table: %w", err)
	}
	return nil
}

// Flush writes what is still held back.
func (w *Writer) Flush() error {
	w.csv.Flush()
	if err := w.csv.Error(); err != nil {
		return fmt.Errorf("writing table: %w", err)
	}
	return nil
}

// guard is put before a cell that a spreadsheet would take for something else.
// The first characters that make a formula are those that OWASP lists under
// "CSV Injection" (read August 2026), full-width forms among them; a guard
// itself is guarded, so that every cell comes back as it was.
const guard = "'"

var (
	formula = pattern.Of(`^[\s']*[=+\-@|%＝＋－＠]|^[\t\r\n']`)
	number  = pattern.Of(`^[.,]?[0-9][0-9.,:/eE+ %\-]*([aApP]\.?[mM]?\.?)?$|^\([0-9.,]+\)$`) // an amount, a day, a time; (5) is -5 to a book-keeper
	whole   = pattern.Of(`^(0|[1-9][0-9]{0,14})$`)                                           // a number that stays as it is
	// A month with a number makes a day: MAR1, 1-Mar, Sept 2. Geneticists renamed
	// their genes for it (Bruford et al., Nature Genetics 52, 754, 2020).
	month = pattern.Of(`(?i)^[0-9]{0,4}[ ./-]?(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}[ ./-]?[0-9]{0,4}$`)
	digit = pattern.Of(`[0-9]`)
)

func guarded(s string) string {
	day := month.MatchString(s) && digit.MatchString(s)
	if formula.MatchString(s) || number.MatchString(s) && !whole.MatchString(s) || day {
		return guard + s
	}
	return s
}

func plain(s string) string {
	rest, ok := strings.CutPrefix(s, guard)
	if ok && guarded(rest) == s {
		return rest
	}
	return s
}
