package sheet

import (
	"fmt"
	"strings"
)

// The picture of the network: boxes of devices in columns, millimetres.
const (
	nodesAcross = 3
	nodeBetween = 3
	nodeBeside  = 3  // white inside a box
	nodeNumber  = 10 // room for the number of a step, at least
)

// nodeWide is the width of a box.
func (p *pdf) nodeWide() float64 {
	return (p.room() - (nodesAcross-1)*nodeBetween) / nodesAcross
}

// network draws who updates whom: a host and, to its right, what it passes on;
// then those that take the card for themselves, then the rest in words.
func (p *pdf) network(n Network) {
	first := append(p.title(n.Title), p.row(cell{left, p.room(), small, n.Legend})...)
	p.put(append(first, gap(2)))
	var alone []Node
	var rest []string
	for i, node := range n.Nodes {
		below := n.Below(i)
		switch {
		case node.Host >= 0:
		case len(below) > 0:
			p.group(node, below)
		case len(node.Steps) > 0:
			alone = append(alone, node)
		default:
			rest = append(rest, node.Device)
		}
	}
	for len(alone) > 0 {
		now := alone[:min(nodesAcross, len(alone))]
		p.nodes(now)
		alone = alone[len(now):]
	}
	if len(rest) > 0 {
		p.put(p.row(cell{left, p.room(), small, p.words.say("network.untouched") + ": " + strings.Join(rest, ", ")}))
	}
}

// node is a box with the device's name and model and the numbers of its steps.
func (p *pdf) node(n Node, x float64) []piece {
	steps := strings.Trim(fmt.Sprint(n.Steps), "[]")
	wide := p.nodeWide()
	numbers := min(max(p.measure(big)(steps)+3, nodeNumber), wide/2)
	inner := wide - 2*nodeBeside - numbers
	lines := append([]piece{gap(1)}, p.row(
		cell{x + nodeBeside, numbers, big, steps}, cell{x + nodeBeside + numbers, inner, label, n.Device},
	)...)
	lines = append(lines, p.row(cell{x + nodeBeside + numbers, inner, foot, n.Model})...)
	lines = append(lines, gap(1))
	high := height(lines)
	return beside(lines, func(y float64) {
		if n.Host < 0 {
			p.doc.SetLineWidth(thick)
		}
		p.doc.Rect(x, y, wide, high, "D")
		p.doc.SetLineWidth(thin)
	})
}

// group is a host with arrows to what it updates.
func (p *pdf) group(host Node, below []Node) {
	const gapBelow = 2.5
	const arrow = 18
	far := left + p.nodeWide() + arrow
	middle := far - arrow/2
	box := p.node(host, left)
	start := height(box) / 2
	for i, n := range below {
		b := p.node(n, far)
		high := max(height(b), height(box))
		b = append(b, gap(high-height(b)+gapBelow))
		if i == 0 {
			b = merge(b, box)
		}
		at := min(height(p.node(n, far)), high) / 2
		first, last := i == 0, i == len(below)-1
		p.put([]piece{{height(b), func(y float64) {
			p.branch(y, at, start, height(b), middle, far, first, last)
			for _, one := range b {
				one.draw(y)
				y += one.high
			}
		}}})
	}
}

// branch is the part of the tree of arrows beside one box.
func (p *pdf) branch(y, at, start, high, middle, to float64, first, last bool) {
	const tip = 1.6
	from, until := y, y+high
	if first {
		p.doc.Line(left+p.nodeWide(), y+start, middle, y+start)
		from = y + min(start, at)
	}
	if last {
		until = y + max(at, from-y)
	}
	p.doc.Line(middle, from, middle, until)
	p.doc.Line(middle, y+at, to, y+at)
	p.doc.SetFillColor(0, 0, 0)
	p.doc.MoveTo(to, y+at)
	p.doc.LineTo(to-2*tip, y+at-tip)
	p.doc.LineTo(to-2*tip, y+at+tip)
	p.doc.ClosePath()
	p.doc.DrawPath("F")
}

// nodes are boxes side by side.
func (p *pdf) nodes(all []Node) {
	const gapBelow = 2.5
	var row []piece
	for i, n := range all {
		row = merge(row, p.node(n, left+float64(i)*(p.nodeWide()+nodeBetween)))
	}
	p.put(append(row, gap(gapBelow)))
}

// merge sets two columns of pieces side by side, as one piece.
func merge(a, b []piece) []piece {
	return []piece{{max(height(a), height(b)), func(y float64) {
		for _, column := range [][]piece{a, b} {
			at := y
			for _, one := range column {
				one.draw(at)
				at += one.high
			}
		}
	}}}
}
