package sheet

import (
	"fmt"
	"slices"
	"strings"
)

// Columns is how wide the text form is: a page of plain paper, and a terminal.
const Columns = 80

// Text writes the sheet as plain text, Columns wide, with boxes to tick and
// lines to fill in by pen. Nothing is cut: what is longer than a line goes on
// in the next.
func Text(s Sheet) string {
	w, err := speak(s.Language)
	if err != nil { // a Sheet from Make has a language that is there
		w, _ = speak(English)
	}
	t := &text{words: w}
	t.head(s)
	for _, c := range s.Cards {
		t.card(c)
	}
	if s.Network != nil {
		t.network(*s.Network)
	}
	for i, section := range s.Sections {
		t.section(i+1, section)
	}
	t.end(s)
	return plainSpaces(t.b.String())
}

// text grows line by line.
type text struct {
	b      strings.Builder
	words  words
	broken bool // some name went over the end of a line
}

func (t *text) head(s Sheet) {
	t.rule('=')
	t.lines("", "", strings.ToUpper(s.Title))
	t.rule('=')
	t.stamp(s.Stamp)
	t.gap()
	t.facts("", slices.Concat(s.Facts, filled(Fact{s.By.Label, s.By.Value, false})))
	if s.By.Value == "" {
		t.blanks("", []Blank{s.By})
	}
}

// stamp is what the sheet is worth; it stands at the head and at the end.
func (t *text) stamp(s Stamp) {
	t.lines("*** ", "*** ", s.Word+" ***")
	t.lines("", "", s.Text)
}

func (t *text) end(s Sheet) {
	t.gap()
	t.rule('=')
	t.stamp(s.Stamp)
	t.lines("", "", s.Foot)
	if t.broken {
		t.lines("", "", t.words.say("broken"))
	}
	t.rule('=')
}

func (t *text) card(c Card) {
	t.title(c.Name)
	t.facts("", c.Facts)
	if c.Room != nil {
		t.lines("", "", bar(*c.Room))
	}
}

// bar shows how full a card is; a card with anything on it shows some, and one
// with any room left shows that.
func bar(r Room) string {
	const cells = 60
	full := int(float64(r.Used) / float64(r.Bytes) * cells)
	full = min(max(full, 0), cells)
	if full == 0 && r.Used > 0 {
		full = 1
	}
	if full == cells && r.Used < r.Bytes {
		full = cells - 1
	}
	return "[" + strings.Repeat("#", full) + strings.Repeat(".", cells-full) + "]"
}

// network is written as a list, each device below the one that updates it.
func (t *text) network(n Network) {
	t.title(n.Title)
	var rest []string
	for i, node := range n.Nodes {
		below := n.Below(i)
		switch {
		case node.Host >= 0:
			continue
		case len(node.Steps) == 0 && len(below) == 0:
			rest = append(rest, node.Device)
			continue
		}
		t.node("", node)
		for _, b := range below {
			t.node("  -> ", b)
		}
	}
	if len(rest) > 0 {
		t.lines("", "", t.words.say("network.untouched")+": "+strings.Join(rest, ", "))
	}
}

func (t *text) node(lead string, n Node) {
	t.lines(lead, strings.Repeat(" ", len(lead)), n.Device+" ("+n.Model+"): "+n.Words)
}

func (t *text) section(number int, s Section) {
	t.title(fmt.Sprintf("%d  %s", number, s.Title))
	for _, c := range s.Cautions {
		t.lines("!   ", "    ", c)
	}
	for _, line := range s.Text {
		t.lines("    ", "    ", line)
	}
	t.ticks(s.Ticks)
	for _, picture := range s.Pictures {
		t.gap()
		t.lines("    ", "    ", picture.Says)
		for _, line := range picture.Text {
			t.b.WriteString("    " + line + "\n")
		}
	}
	switch {
	case s.Table == nil:
	case s.Table.Narrow:
		t.columns(*s.Table)
	default:
		t.table(*s.Table)
	}
	for _, step := range s.Steps {
		t.step(step)
	}
	t.checks(s.Checks)
	t.ticks(s.Then)
	t.blanks("    ", s.Blanks)
	for _, sign := range s.Signs {
		t.gap()
		t.lines("    ", "    ", sign.Who)
		t.blanks("    ", sign.Blanks)
	}
}

func (t *text) ticks(all []Tick) {
	for _, tick := range all {
		t.lines("[ ] ", "    ", tick.Text)
		for _, note := range tick.Notes {
			t.lines("    ", "    ", note)
		}
		t.blanks("    ", tick.Blanks)
	}
}

// table writes each row as its first cell and, below it, the others with their
// heads: so no column is ever too narrow for a version.
func (t *text) table(table Table) {
	for _, row := range table.Rows {
		t.lines("    ", "    ", row.Cells[0])
		var parts []string
		for i, cell := range row.Cells[1:] {
			if cell != "" {
				parts = append(parts, table.Head[i+1]+": "+cell)
			}
		}
		t.lines("      ", "      ", strings.Join(parts, "; "))
		if row.Blank != nil {
			blank := *row.Blank
			blank.Want = "" // it stands in the row
			t.blanks("      ", []Blank{blank})
		}
	}
}

// columns writes a table whose cells are short.
func (t *text) columns(table Table) {
	wide := make([]int, len(table.Head))
	rows := [][]string{table.Head}
	for _, row := range table.Rows {
		rows = append(rows, row.Cells)
	}
	for _, row := range rows {
		for i, cell := range row {
			wide[i] = max(wide[i], width(cell))
		}
	}
	t.gap()
	for _, row := range rows {
		line := "    "
		for i, cell := range row {
			line += strings.Repeat(" ", wide[i]-width(cell)) + cell + "  "
		}
		t.b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

func (t *text) step(s Step) {
	t.gap()
	t.lines("[ ] ", "    ", strings.ToUpper(s.Name)+"  "+s.Device+" ("+s.Model+")")
	t.lines("    ", "    ", t.words.say("step.version")+": "+t.words.say("step.from.to", "from", s.From, "to", s.To))
	facts := append([]Fact{{t.words.say("step.place"), s.Place, false}}, s.Facts...)
	t.facts("    ", filled(append(facts, Fact{t.words.say("step.minutes"), s.Minutes, false})...))
	for _, c := range s.Cautions {
		t.lines("  ! ", "    ", c)
	}
	for i, do := range s.Do {
		t.lines(fmt.Sprintf("    %c ", 'a'+i), "      ", do)
	}
	t.blanks("    ", []Blank{s.Read, s.Took, s.Note})
}

func (t *text) checks(all []Check) {
	for _, same := range alike(all) {
		t.gap()
		t.lines("    ", "    ", strings.ToUpper(same[0].Name)+"  "+same[0].How)
		for _, c := range same {
			t.lines("[ ] ", "    ", c.Device)
			t.blanks("    ", []Blank{c.Value})
		}
	}
}

// alike groups checks that are made in the same way.
func alike(all []Check) [][]Check {
	var groups [][]Check
	for i, c := range all {
		if i == 0 || c.Name != all[i-1].Name || c.How != all[i-1].How {
			groups = append(groups, nil)
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], c)
	}
	return groups
}

// blanks are lines for a pen; short ones share a line.
func (t *text) blanks(indent string, all []Blank) {
	const pen = 14
	line := ""
	for _, b := range all {
		want := ""
		if b.Want != "" {
			want = ", " + t.words.say("must", "version", b.Want)
		}
		field := b.Label + want + ": " + strings.Repeat("_", pen)
		if b.Wide {
			t.flush(indent, &line)
			field = b.Label + want + ": "
			line = field + strings.Repeat("_", max(pen, Columns-len(indent)-width(field)))
			t.flush(indent, &line)
			continue
		}
		if line != "" && len(indent)+width(line)+2+width(field) > Columns {
			t.flush(indent, &line)
		}
		if line != "" {
			line += "  "
		}
		line += field
	}
	t.flush(indent, &line)
}

func (t *text) flush(indent string, line *string) {
	if *line != "" {
		t.lines(indent, indent, *line)
	}
	*line = ""
}

// facts are written with their values below one another where the labels
// allow it.
func (t *text) facts(indent string, all []Fact) {
	wide := 0
	for _, f := range all {
		wide = max(wide, width(f.Label))
	}
	for _, f := range all {
		label := indent + f.Label + strings.Repeat(" ", wide-width(f.Label)+2)
		t.lines(label, strings.Repeat(" ", width(label)), f.Value)
	}
}

func (t *text) title(s string) {
	t.gap()
	t.lines("", "", s)
	t.rule('-')
}

func (t *text) rule(r rune) { t.b.WriteString(strings.Repeat(string(r), Columns) + "\n") }

func (t *text) gap() { t.b.WriteByte('\n') }

// lines writes s wrapped, the first line after first and the others after
// rest, which is as wide.
func (t *text) lines(first, rest, s string) {
	lead := first
	for _, line := range wrap(s, Columns-columns(rest), columns) {
		t.broken = t.broken || strings.HasSuffix(line, broken)
		t.b.WriteString(strings.TrimRight(lead+line, " ") + "\n")
		lead = rest
	}
}

// width is how many columns s takes.
func width(s string) int { return int(columns(s)) }
