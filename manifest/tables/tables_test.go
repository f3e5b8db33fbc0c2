package tables_test

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/tables"
)

var columns = []tables.Column{
	{"model", "Device.model", true}, {"version", "Device.version", false}, {"serial", "Device.serial", false}, {"note", "", false},
}

func TestRead(t *testing.T) {
	for _, text := range []string{
		"model,version,serial,note\nfennick-plot-12,3.1-40,'00231,\"a, \"\"b\"\"\"\n\nsolveld-fix-2,,,\n",
		"\ufeffSerial;Model;Version;note\r\n00231;fennick-plot-12;3.1-40;\"a, \"\"b\"\"\"\r\n;;;\r\n;solveld-fix-2;;\r\n",
		"model\tserial\tversion\tnote\nfennick-plot-12\t00231\t3.1-40\t\"a, \"\"b\"\"\"\nsolveld-fix-2\n",
	} {
		table, err := tables.Read("d.csv", []byte(text), columns)
		require.NoError(t, err, text)
		require.Len(t, table.Rows, 2)
		first := table.Rows[0]
		assert.Equal(t, []string{"fennick-plot-12", "3.1-40", "00231", `a, "b"`}, []string{first.Get("model"), first.Get("version"), first.Get("serial"), first.Get("note")})
		assert.Equal(t, "solveld-fix-2", table.Rows[1].Get("model"))
		assert.Equal(t, "", table.Rows[1].Get("serial"))
		assert.Equal(t, 2, first.At("serial").Line)
	}
}

// Empty cells between tabs stay where they are, and "Unicode text" is read.
func TestReadWithTabs(t *testing.T) {
	text := "model\tversion\tserial\tnote\r\nsolveld-fix-2\t\t\tGr\u00fcn\r\n"
	for _, data := range [][]byte{[]byte(text), []byte("\ufeff" + text), wide(text, binary.LittleEndian), wide(text, binary.BigEndian)} {
		table, err := tables.Read("d.csv", data, columns)
		require.NoError(t, err)
		row := table.Rows[0]
		assert.Equal(t, []string{"solveld-fix-2", "", "", "Gr\u00fcn"}, []string{row.Get("model"), row.Get("version"), row.Get("serial"), row.Get("note")})
	}
	_, err := tables.Read("d.csv", []byte("model,note\nsolveld-fix-2,Gr\xfcn\n"), columns)
	require.ErrorContains(t, err, "d.csv:2:17: not text in UTF-8")
}

func wide(text string, order binary.AppendByteOrder) []byte {
	data := order.AppendUint16(nil, 0xFEFF)
	for _, u := range utf16.Encode([]rune(text)) {
		data = order.AppendUint16(data, u)
	}
	return data
}

func TestReadMistakes(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "d.csv: empty table"},
		{"model,version\n,\n", "d.csv: empty table\n  found:    nothing below the heading line"},
		{"model,versoin\nx,1\n", "d.csv:1:7: unknown column\n  found:    \"versoin\"\n  expected: one of model, version, serial, note\n  try:      version"},
		{"model,model\nx,y\n", "d.csv:1:7: column given twice"},
		{"version\n1\n", "d.csv:1:1: missing column"},
		{"model,version\n,1\n", "d.csv:2:1: empty cell"},
		{"model,version\nx,four\n", "d.csv:2:3: not a version"},
		{"model\nFennick\n", "d.csv:2:1: not an id"},
		{"model,serial\nx,\"a\x1b[2J\"\n", "d.csv:2:3: character refused"},
		{"model\nx,y\n", "d.csv:2:3: cell without a heading"},
		// RFC 4180, section 2, rules 5 to 7: what quotes enclose, and what doubles them.
		{"model\n\"x\n", "d.csv:2:4: not readable as a table\n  found:    a cell in quotes that isn't closed"},
		{"model\n\"x\ny\nz\n", "d.csv:2: not readable as a table"},
		{"model\n\"x\"y\n", "not readable as a table\n  found:    a cell in quotes that isn't closed, or goes on behind its closing \""},
		{"model\nx\"y\n", "d.csv:2:2: not readable as a table\n  found:    a \" inside a cell that isn't in quotes"},
		{"model\n\xff\n", "d.csv:2:1: not text in UTF-8"},
		// Columns are counted in characters, as editors count them.
		{"note,model\nHäfen für Ünal,Fennick\n", "d.csv:2:16: not an id"},
		{"note,model\nHäfen\xff,1\n", "d.csv:2:6: not text in UTF-8"},
		{"note,model\nHäf\"en,x\n", "d.csv:2:4: not readable as a table"},
		{"model\n" + strings.Repeat("x\n", manifest.MaxEntries+9), "table too long"},
		{strings.Repeat("x", manifest.MaxFileBytes+1), "file too large\n  found:    more than 262144 bytes"},
	} {
		_, err := tables.Read("d.csv", []byte(c.text), columns)
		var ms manifest.Mistakes
		require.ErrorAs(t, err, &ms, "%.40q", c.text)
		assert.Contains(t, ms[0].String(), c.want)
	}
}

// Cells of the kinds that OWASP's page on CSV injection warns of: none begins
// with a character that starts a formula, and all come back.
func TestNoFormulas(t *testing.T) {
	cells := []string{
		"=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =cmd|' /C calc'!A0", "'=1", "''", "'", "＝1", "1.10", "3-1", "00231", "1e5",
		"4.10", ".5", "50%", "(12)", "10:30", "9 am", "2026-03-02", "1/2", "1.2.3", "MAR1", "1-Mar", "sept 2",
		"plain", "don't", "12V", "v1.10", "a,b;c\"d", "",
	}
	var out bytes.Buffer
	rows := [][]string{}
	for _, c := range cells {
		rows = append(rows, []string{"fennick-plot-12", c})
	}
	require.NoError(t, tables.Write(&out, []string{"model", "note"}, rows))
	raw, err := csv.NewReader(strings.NewReader(out.String())).ReadAll()
	require.NoError(t, err)
	table, err := tables.Read("d.csv", out.Bytes(), columns)
	require.NoError(t, err)
	for i, c := range cells {
		if stored := raw[i+1][1]; strings.TrimSpace(stored) != "" {
			first, _ := utf8.DecodeRuneInString(strings.TrimSpace(stored))
			assert.NotContains(t, "=+-@\t\r|%＝＋－＠", string(first), c)
		}
		assert.Equal(t, strings.TrimSpace(c), strings.TrimSpace(table.Rows[i].Get("note")), c)
	}
}

// Numbers that a spreadsheet leaves alone stay numbers; an apostrophe that a
// person typed stays theirs.
func TestGuardsOnlyWhatNeedsIt(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, tables.Write(&out, []string{"model", "serial", "note"}, [][]string{{"x", "40077", "0"}}))
	assert.Equal(t, "model,serial,note\nx,40077,0\n", out.String())
	table, err := tables.Read("d.csv", []byte("model,note\nx,'tis\n"), columns)
	require.NoError(t, err)
	assert.Equal(t, "'tis", table.Rows[0].Get("note"))
}

func TestTablesComeBack(t *testing.T) {
	cell := rapid.StringOf(rapid.SampledFrom([]rune("=+-@'\"',;14.a é"))).Filter(func(s string) bool { return strings.TrimSpace(s) == s })
	rapid.Check(t, func(t *rapid.T) {
		want := cell.Draw(t, "cell")
		var out bytes.Buffer
		require.NoError(t, tables.Write(&out, []string{"model", "note"}, [][]string{{"x", want}}))
		table, err := tables.Read("d.csv", out.Bytes(), columns)
		require.NoError(t, err)
		assert.Equal(t, want, table.Rows[0].Get("note"))
	})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("model,version,serial,note\nfennick-plot-12,3.1-40,'00231,\"a, \"\"b\"\"\"\n"))
	f.Add([]byte("\ufeffmodel;note\r\nx;=1\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		table, err := tables.Read("d.csv", data, columns)
		if err != nil {
			var ms manifest.Mistakes
			require.ErrorAs(t, err, &ms)
			require.NotEmpty(t, ms)
			return
		}
		require.LessOrEqual(t, len(table.Rows), manifest.MaxEntries)
		for _, r := range table.Rows {
			require.Nil(t, manifest.Problem("Device.model", r.Get("model")))
		}
	})
}

func TestCells(t *testing.T) {
	for cell, want := range map[string][2]bool{"": {false, true}, "no": {false, true}, "Yes": {true, true}, "Y": {true, true}, "true": {true, true}, "perhaps": {false, false}} {
		yes, ok := tables.YesOrNo(cell)
		assert.Equal(t, want, [2]bool{yes, ok}, cell)
	}
	assert.Equal(t, []string{"a", "b", "c"}, tables.Words(" a, b  c,"))
	assert.Equal(t, []string{"a b", "c, d"}, tables.Parts(" a b //c, d ; ", "/;"))
	assert.Empty(t, tables.Parts(" / ", "/"))
}
