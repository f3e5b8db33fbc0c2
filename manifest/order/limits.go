package order

// limits bound one search, in counts, so that the answer doesn't depend on the
// machine.
type limits struct {
	looks    int // at rules, while looking for ends and orders
	states   int // remembered at once
	patience int // ends without an order, before every state is gone through instead
	weighed  int // steps tried, times devices aboard, while looking for less time out of service
	bonds    int // pairs of devices, one of which may put the other out of service, up to which that is looked for
	arranged int // steps tried, while looking for fewer card swaps
}

// standard makes giving up take about a second, and far less than 256 MB.
var standard = limits{looks: 4_000_000, states: 400_000, patience: 24, weighed: 10_000, bonds: 2_000, arranged: 20_000}

// proofWork is how many times the looks of one search a proof may take.
const proofWork = 4

// work counts what a search does.
type work struct {
	limits
	looked, kept int
}

func (l limits) work() *work { return &work{limits: l} }

func (w *work) look(n int) { w.looked += n }
func (w *work) over() bool { return w.looked > w.looks || w.kept > w.states }
