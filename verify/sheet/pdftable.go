package sheet

import (
	"slices"
	"strings"
)

// grid is a table in pieces: the head is drawn again on each page.
type grid struct {
	head []piece
	rows [][]piece
}

// The columns of the table of checks, millimetres: what is checked takes what is
// left.
const (
	checkDevice = 20
	checkBox    = 13
	checkValue  = 27
)

// checks are one table: what is to be done, and for each device the boxes and
// the value.
func (p blockPieces) checks(all Checks) grid {
	results := []string{"check.passed", "check.failed", "check.not done"}
	device := p.edge - checkValue - float64(len(results))*checkBox - checkDevice
	box := device + checkDevice
	value := p.edge - checkValue
	words := cell{left, device - left - 2, small, ""}
	say := func(x, wide float64, key string) cell { return cell{x, wide, label, p.words.say(key)} }
	head := []cell{say(left, device-left-2, "check.head"), say(device, checkDevice-2, "check.device"), say(value+1, checkValue, "check.value")}
	for i, key := range results {
		head = append(head, say(box+float64(i)*checkBox, checkBox-1, key))
	}
	var rows [][]piece
	for _, same := range alike(all) {
		words.look, words.text = label, same[0].Name
		what := p.row(words)
		words.look, words.text = small, same[0].How
		what = append(what, p.row(words)...)
		var lines []piece
		for _, c := range same {
			line := p.row(cell{device, checkDevice - 2, small, c.Device})
			if h := height(line); h < penHigh {
				line = append(line, gap(penHigh-h))
			}
			high := height(line)
			lines = append(lines, beside(line, func(y float64) {
				for i := range results {
					p.box(box+float64(i)*checkBox+2, y, small)
				}
				p.doc.Line(value, y+high-1.5, p.edge, y+high-1.5)
			})...)
		}
		rows = append(rows, append(merge(what, lines), p.rule()))
	}
	return grid{append(p.row(head...), p.rule()), rows}
}

// table sets rows in columns as wide as their texts ask for.
func (p blockPieces) table(t Table) grid {
	columns := p.columns(t)
	row := func(l look, texts []string) []piece {
		cells := make([]cell, len(texts))
		for i, text := range texts {
			cells[i] = cell{columns[i].x, columns[i].wide, l, text}
		}
		return p.row(cells...)
	}
	var rows [][]piece
	last := columns[len(columns)-1]
	for _, r := range t.Rows {
		pieces := row(small, r.Cells)
		if r.Blank != nil {
			pieces = p.toWrite(pieces, last)
		}
		if r.Tick != "" {
			pieces = beside(pieces, func(y float64) { p.box(last.x+2, y, small) })
		}
		if t.Narrow {
			rows = append(rows, append(pieces, gap(0.9)))
			continue
		}
		rows = append(rows, append(pieces, p.rule()))
	}
	return grid{append(row(label, t.Head), p.rule()), rows}
}

// columns of a table: each at least as wide as its longest word, the rest
// shared by what each text asks for.
func (p blockPieces) columns(t Table) []cell {
	const between, blank, slack = 3, 32, 0.1
	least, asked := make([]float64, len(t.Head)), make([]float64, len(t.Head))
	note := func(i int, l look, text string) {
		asked[i] = max(asked[i], p.measure(l)(text)+slack)
		for word := range strings.SplitSeq(text, " ") {
			least[i] = max(least[i], p.measure(l)(word)+slack)
		}
	}
	for i, h := range t.Head {
		note(i, label, h)
	}
	for _, r := range t.Rows {
		for i, c := range r.Cells {
			note(i, small, c)
		}
		if r.Blank != nil {
			least[len(t.Head)-1], asked[len(t.Head)-1] = blank, blank
		}
	}
	return spread(least, asked, left, p.room(), between)
}

// spread shares a width among columns. Where not every longest word fits, the
// columns that ask for less than their even share keep what they ask for: one
// long name breaks in its own column, and nothing breaks in another.
func spread(least, asked []float64, x, wide, between float64) []cell {
	free := wide - between*float64(len(least)-1)
	least = slices.Clone(least)
	shrink(least, free)
	sum, more := 0.0, 0.0
	for i := range least {
		sum += least[i]
		more += max(0, asked[i]-least[i])
	}
	cells := make([]cell, len(least))
	for i := range least {
		w := least[i]
		if more > 0 && sum < free {
			w += min(1, (free-sum)/more) * max(0, asked[i]-least[i])
		}
		cells[i] = cell{x: x, wide: w}
		x += w + between
	}
	return cells
}

// shrink makes widths fit: the widest of them share what the others leave.
func shrink(widths []float64, free float64) {
	order := make([]int, len(widths))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case widths[a] < widths[b]:
			return -1
		case widths[a] > widths[b]:
			return 1
		}
		return a - b
	})
	for k, i := range order {
		even := free / float64(len(order)-k)
		widths[i] = min(widths[i], even)
		free -= widths[i]
	}
}
