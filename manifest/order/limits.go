package order

// limits bound one search, in counts, so that the answer doesn't depend on the
// machine.
type limits struct {
	ruleTests   int // at rules, while looking for ends and orders
	states      int // remembered at once
	ends        int // ends without an order, before every state is gone through instead
	outageTries int // steps tried, times devices aboard, while looking for less time out of service
	bonds       int // pairs of devices, one of which may put the other out of service, up to which that is looked for
	swapTries   int // steps tried, while looking for fewer card swaps
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
