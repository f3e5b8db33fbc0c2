package order

// limits bound one search, in counts, so that the answer doesn't depend on the
// machine.
type limits struct {
	ruleTests   int // tests of rules, in the search for ends and orders
	states      int // kept in memory at once
	ends        int // tried that have no order, before every state is gone through instead
	outageTries int // steps tried, times devices aboard, in the search for less time out of service
	bonds       int // pairs of devices of which one may put the other out of service: with more, that search isn't made
	swapTries   int // steps tried in the search for fewer card swaps
}

// standard makes giving up take about a second, and far less than 256 MB.
var standard = limits{ruleTests: 4_000_000, states: 400_000, ends: 24, outageTries: 10_000, bonds: 2_000, swapTries: 20_000}

// proofWork is how many times the rule tests of one search a proof may take.
const proofWork = 4

// work counts what a search does.
type work struct {
	limits
	tested, kept int
}

func (l limits) work() *work { return &work{limits: l} }

func (w *work) test(n int) { w.tested += n }
func (w *work) over() bool { return w.tested > w.ruleTests || w.kept > w.states }
