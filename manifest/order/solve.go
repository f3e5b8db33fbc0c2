package order

import (
	"fmt"
	"strings"
)

// GaveUp says that a bound of the search was reached before there was an
// answer, either way.
type GaveUp struct {
	Devices []string // that could not be planned
	What    string   // the bound
}

func (e *GaveUp) Error() string {
	return fmt.Sprintf("gave up without an answer (%s) for %s: plan fewer devices at once, or leave some alone",
		e.What, strings.Join(e.Devices, ", "))
}

// outcome is what came of looking for an end and an order.
type outcome struct {
	target state   // nil: there is none
	walker *walker // knows the orders to the target
	steps  int
}

// solve finds the newest state that fits and that an order leads to. ok is
// false when the work was over first.
func (p *problem) solve(w *work) (o outcome, ok bool) {
	f := newFitter(p, w)
	for tried := 0; ; tried++ {
		if tried == w.ends {
			if target, done := p.explore(w.limits.work()); done {
				return p.walkTo(target, w)
			}
		}
		target := f.next()
		if w.over() {
			return outcome{}, false
		}
		if o, ok := p.walkTo(target, w); !ok || o.target != nil || target == nil {
			return o, ok
		}
	}
}

// walkTo finds the least number of steps to a target. The outcome has none
// where no order leads there.
func (p *problem) walkTo(target state, w *work) (o outcome, ok bool) {
	if target == nil {
		return outcome{}, true
	}
	k := newWalker(p, target, w)
	if n := k.steps(p.start()); n >= 0 {
		return outcome{target, k, n}, true
	}
	return outcome{}, !w.over()
}
