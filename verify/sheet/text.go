package sheet

import (
	"fmt"
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
	for i, section := range s.Sections {
		t.title(fmt.Sprintf("%d  %s", i+1, section.Title))
		for _, b := range section.Blocks {
			b.on(t)
		}
	}
	t.end(s)
	return plainSpaces(t.b.String())
}

// text is the renderer of plain text, which grows line by line.
type text struct {
	b      strings.Builder
	words  words
	broken bool // some name went over the end of a line
}

func (t *text) head(s Sheet) {
	t.rule('=')
	if s.Vessel != "" {
		t.lines("", "", s.Vessel)
	}
	t.lines("", "", s.Title)
	t.rule('=')
	t.stamp(s.Stamp)
	t.gap()
	t.lines("", "", s.About)
	if s.By.Value == "" {
		t.penLines("", []Blank{s.By})
	} else {
		t.lines("", "", s.By.Label+": "+s.By.Value)
	}
}

// stamp is what the sheet is worth, at the head and at the end.
func (t *text) stamp(s Stamp) {
	t.lines("*** ", "*** ", s.Line()+" ***")
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

// margin stands before what belongs to a section.
const margin = "    "

func (t *text) heading(h Heading) {
	t.gap()
	t.lines(margin, margin, string(h))
}

func (t *text) paragraph(p Paragraph) { t.lines(margin, margin, string(p)) }
func (t *text) caution(c Caution)     { t.lines("!   ", margin, string(c)) }
func (t *text) facts(all Facts)       { t.factLines(margin, all) }
func (t *text) tick(tick Tick)        { t.tickLines("", tick) }
func (t *text) blanks(all Blanks)     { t.penLines(margin, all) }

func (t *text) boxes(all Boxes) {
	for _, b := range all {
		t.lines("[ ] ", margin, b.Text+" ("+b.Note+")")
	}
}

func (t *text) signs(all Signs) {
	for _, sign := range all {
		t.gap()
		t.lines(margin, margin, sign.Who)
		for _, b := range sign.Blanks {
			b.Wide = true
			t.penLines(margin, []Blank{b})
		}
	}
}

func (t *text) picture(p Picture) {
	t.gap()
	t.lines(margin, margin, p.Says)
	for _, line := range p.Text {
		t.b.WriteString(margin + line + "\n")
	}
}

func (t *text) cards(all Cards) {
	for _, c := range all {
		t.gap()
		t.lines(margin, margin, strings.ToUpper(c.Name))
		t.factLines(margin, c.Facts)
		if c.Room != nil {
			t.lines(margin, margin, bar(*c.Room))
		}
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
	var rest []string
	for i, node := range n.Nodes {
		below := n.below(i)
		switch {
		case node.Host >= 0:
			continue
		case len(node.Steps) == 0 && len(below) == 0:
			rest = append(rest, node.Device)
			continue
		}
		t.node(margin, node)
		for _, b := range below {
			t.node(margin+"  -> ", b)
		}
	}
	if len(rest) > 0 {
		t.lines(margin, margin, strings.Join(rest, ", ")+": "+t.words.say("network.untouched"))
	}
}

func (t *text) node(lead string, n Node) {
	t.lines(lead, strings.Repeat(" ", len(lead)), n.Device+", "+n.Model+": "+n.Words)
}

func (t *text) tickLines(indent string, tick Tick) {
	t.lines(indent+"[ ] ", indent+margin, tick.Text)
	for _, note := range tick.Notes {
		t.lines(indent+margin, indent+margin, note)
	}
	t.penLines(indent+margin, tick.Blanks)
}

// table sets short cells side by side where a line can hold them. Else each row
// is its first cell and, below it, the others with their heads: so no column is
// ever too narrow for a version.
func (t *text) table(table Table) {
	if table.Narrow && t.columns(table) {
		return
	}
	for _, row := range table.Rows {
		lead := margin
		if row.Tick != "" {
			lead = "[ ] "
		}
		t.lines(lead, margin, row.Cells[0])
		var parts []string
		for i, cell := range row.Cells[1:] {
			if cell != "" {
				parts = append(parts, table.Head[i+1]+": "+cell)
			}
		}
		t.lines("      ", "      ", strings.Join(parts, "; "))
		if row.Blank != nil {
			blank := *row.Blank
			blank.Want = "" // the row has it
			t.penLines("      ", []Blank{blank})
		}
	}
}

// columns writes a table whose cells are short; it reports whether they fit.
func (t *text) columns(table Table) bool {
	rows := [][]string{table.Head}
	for _, row := range table.Rows {
		cells := row.Cells
		if row.Tick != "" {
			cells = append(cells[:len(cells):len(cells)], "[ ]")
		}
		rows = append(rows, cells)
	}
	wide := make([]int, len(table.Head))
	for _, row := range rows {
		for i, cell := range row {
			wide[i] = max(wide[i], width(cell))
		}
	}
	sum, between := len(margin), 2
	for _, w := range wide {
		sum += w
	}
	if sum+between*(len(wide)-1) > Columns {
		between = 1
	}
	if sum+between*(len(wide)-1) > Columns {
		return false
	}
	t.gap()
	for _, row := range rows {
		line := margin
		for i, cell := range row {
			line += cell + strings.Repeat(" ", wide[i]-width(cell)+between)
		}
		t.b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	t.gap()
	return true
}

func (t *text) step(s Step) {
	t.gap()
	t.lines("[ ] ", margin, strings.ToUpper(s.Name)+"  "+s.Device+" ("+s.Model+")")
	t.lines(margin, margin, t.words.say("step.from.to", "from", s.From, "to", s.To))
	t.lines(margin, margin, strings.Join(notEmpty(s.Place, s.Minutes, t.words.say("step.clock", "clock", s.Clock)), ", "))
	for _, c := range s.Cautions {
		t.lines("  ! ", margin, c)
	}
	t.factLines(margin, append(s.Facts[:len(s.Facts):len(s.Facts)],
		Fact{t.words.say("step.fails"), t.words.say("step.fails.see", "fails", t.words.say("fails")), false}))
	for _, first := range s.First {
		t.tickLines(margin, first)
	}
	t.penLines(margin, []Blank{s.Before})
	for i, do := range s.Do {
		t.lines(fmt.Sprintf("    %c ", 'a'+i), "      ", do)
	}
	t.penLines(margin, []Blank{s.Read, s.Took})
	t.results(margin, "result.done", "result.failed", "result.put off")
	for _, then := range s.Then {
		t.tickLines(margin, then)
	}
	t.penLines(margin, []Blank{s.Note})
}

// results are boxes; one of them is ticked.
func (t *text) results(indent string, keys ...string) {
	all := make([]string, len(keys))
	for i, key := range keys {
		all[i] = "[ ]" + noBreak + t.words.say(key)
	}
	t.lines(indent, indent, strings.Join(all, noBreak+noBreak))
}

func (t *text) checks(all Checks) {
	for _, same := range alike(all) {
		t.gap()
		t.lines(margin, margin, strings.ToUpper(same[0].Name)+": "+same[0].How)
		for _, c := range same {
			t.lines(margin, margin, c.Device)
			t.results(margin+"  ", "check.passed", "check.failed", "check.not done")
			t.penLines(margin+"  ", []Blank{c.Value})
		}
	}
}

// penLines are lines to fill in; short ones share a line.
func (t *text) penLines(indent string, all []Blank) {
	const pen = 18
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

// factLines have their values below one another where the labels
// allow it.
func (t *text) factLines(indent string, all []Fact) {
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
// rest, which is as wide. Nothing is written of nothing.
func (t *text) lines(first, rest, s string) {
	if s == "" {
		return
	}
	lead := first
	for _, line := range wrap(s, Columns-columns(rest), columns) {
		t.broken = t.broken || strings.HasSuffix(line, broken)
		t.b.WriteString(strings.TrimRight(lead+line, " ") + "\n")
		lead = rest
	}
}

// width is how many columns s takes.
func width(s string) int { return int(columns(s)) }
