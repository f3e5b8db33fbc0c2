package sheet

import (
	"strconv"
	"strings"
)

// stepPieces is one update on paper: the number and the versions first; what can
// hurt; the work to the left, the versions read to the right; what became of it.
type stepPieces struct {
	blockPieces
	Step
	x, wide float64 // next to its box
}

// stepBlanks is the width of what is read next to the work, millimetres.
const stepBlanks = 54

func (p blockPieces) step(s Step) []piece {
	return stepPieces{p, s, left + indent, p.room() - indent}.all()
}

func (p stepPieces) all() []piece {
	all := p.head()
	where := strings.Join(notEmpty(p.Model, p.Place, p.Minutes, p.words.say("step.clock", "clock", p.Clock)), ", ")
	all = append(all, p.row(cell{p.x, p.wide, small, where})...)
	all = append(all, gap(0.8))
	all = append(all, p.cautions(p.x, p.Cautions)...)
	fails := Fact{p.words.say("step.fails"), p.words.say("see.page", "n", strconv.Itoa(p.pageOf["fails"])), false}
	all = append(all, p.flow(p.x, p.wide, append(p.Facts[:len(p.Facts):len(p.Facts)], fails))...)
	all = append(all, gap(0.8))
	for _, t := range p.First {
		all = append(all, p.tick(p.x, t)...)
	}
	work, versions := p.work(p.wide-stepBlanks-4), p.versions()
	if most := p.tall / 2; height(work) < most && height(versions) < most {
		all = append(all, merge(work, versions)...)
	} else { // too long for one page side by side
		all = append(all, append(work, versions...)...)
	}
	all = append(all, p.result()...)
	for _, t := range p.Then {
		all = append(all, p.tick(p.x, t)...)
	}
	return append(all, p.rule())
}

// head is a step's number, device and versions.
func (p stepPieces) head() []piece {
	const number = 9
	versions := p.words.say("step.from.to", "from", p.From, "to", p.To)
	long := p.measure(big)(versions) + 0.1
	n := cell{p.x, number, big, strconv.Itoa(p.Number)}
	var all []piece
	if number+p.measure(strong)(p.Device)+6+long < p.wide {
		all = p.row(n, cell{p.x + number, p.wide - number - long - 1, strong, p.Device}, cell{p.edge - long, long, big, versions})
	} else { // no version is broken for want of room next to a name
		all = append(p.row(n, cell{p.x + number, p.wide - number, strong, p.Device}), p.row(cell{p.x + number, p.wide - number, exact, versions})...)
	}
	return beside(all, func(y float64) {
		p.box(left, y, big)
		p.bookmark(p.Name+": "+p.Device, 1, y)
	})
}

// work is what is done.
func (p stepPieces) work(wide float64) []piece {
	var all []piece
	for i, do := range p.Do {
		all = append(all, p.row(cell{p.x, 6, strong, string(rune('a' + i))}, cell{p.x + 6, wide - 6, body, do})...)
	}
	return all
}

// versions are what the device shows, before and after.
func (p stepPieces) versions() []piece {
	var all []piece
	for _, b := range []Blank{p.Before, p.Read} {
		all = append(all, p.pen([]cell{{p.edge - stepBlanks, stepBlanks, small, p.asks(b)}})...)
	}
	return all
}

// result is what became of a step, on a line.
func (p stepPieces) result() []piece {
	const minutes = 34
	return []piece{gap(penHigh - small.lead - 1), {small.lead + 1, func(y float64) {
		p.write(p.x, p.x+minutes, y, p.Took.Label)
		at := p.x + minutes + 5
		for _, key := range []string{"result.done", "result.failed", "result.put off"} {
			p.box(at, y, small)
			p.text(at+4.6, y, small, p.words.say(key))
			at += p.measure(small)(p.words.say(key)) + 8.5
		}
		p.write(at, p.edge, y, p.Note.Label)
	}}, gap(1)}
}
