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
func (p networkPieces) nodeWide() float64 {
	return (p.room() - (nodesAcross-1)*nodeBetween) / nodesAcross
}

// networkPieces is who updates whom on paper: a host and, to its right, what it
// passes on. Those that take the card for themselves are named; the rest have no
// part in it.
type networkPieces struct{ blockPieces }

func (p blockPieces) network(n Network) []piece { return networkPieces{p}.all(n) }

func (p networkPieces) all(n Network) []piece {
	all := append(p.row(cell{left, p.room(), small, n.Legend}), gap(2))
	var alone []string
	for i, node := range n.Nodes {
		below := n.below(i)
		switch {
		case node.Host >= 0:
		case len(below) > 0:
			all = append(all, p.group(node, below)...)
		case len(node.Steps) > 0:
			alone = append(alone, fmt.Sprintf("%s%s(%s)", node.Device, noBreak, numbers(node)))
		}
	}
	if alone != nil {
		all = append(all, p.row(cell{left, p.room(), small, p.words.say("network.alone.all", "devices", strings.Join(alone, ", "))})...)
	}
	return append(all, gap(1))
}

// numbers are the steps of a node.
func numbers(n Node) string {
	return strings.ReplaceAll(strings.Trim(fmt.Sprint(n.Steps), "[]"), " ", noBreak)
}

// node is a box with the device's name and model and the numbers of its steps.
func (p networkPieces) node(n Node, x float64) []piece {
	steps := strings.Trim(fmt.Sprint(n.Steps), "[]")
	wide := p.nodeWide()
	first := min(max(p.measure(big)(steps)+3, nodeNumber), wide/2)
	inner := wide - 2*nodeBeside - first
	lines := append([]piece{gap(1)}, p.row(
		cell{x + nodeBeside, first, big, steps}, cell{x + nodeBeside + first, inner, label, n.Device},
	)...)
	lines = append(lines, p.row(cell{x + nodeBeside + first, inner, fine, n.Model})...)
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

// group is a host with arrows to what it updates: one trunk from the middle of
// the host's box, a branch to the middle of each.
func (p networkPieces) group(host Node, below []Node) []piece {
	const gapBelow, arrow = 2, 18
	far := left + p.nodeWide() + arrow
	trunk := far - arrow/2
	box := p.node(host, left)
	start := height(box) / 2
	pieces := make([]piece, 0, len(below))
	for i, n := range below {
		child := p.node(n, far)
		at := height(child) / 2
		high := height(child) + gapBelow
		if i == 0 {
			high = max(high, height(box)+gapBelow)
		}
		first, last := i == 0, i == len(below)-1
		pieces = append(pieces, piece{high, func(y float64) {
			from, until := y, y+high
			if first {
				drawAll(box, y)
				p.doc.Line(left+p.nodeWide(), y+start, trunk, y+start)
				from = y + min(start, at)
			}
			if last {
				until = y + at
				if first {
					until = y + max(start, at)
				}
			}
			p.doc.Line(trunk, from, trunk, until)
			p.arrow(trunk, far, y+at)
			drawAll(child, y)
		}})
	}
	return pieces
}

// arrow is a line with a tip at its right end.
func (p networkPieces) arrow(from, to, y float64) {
	const tip = 1.6
	p.doc.Line(from, y, to, y)
	p.doc.SetFillColor(0, 0, 0)
	p.doc.MoveTo(to, y)
	p.doc.LineTo(to-2*tip, y-tip)
	p.doc.LineTo(to-2*tip, y+tip)
	p.doc.ClosePath()
	p.doc.DrawPath("F")
}
