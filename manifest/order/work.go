package order

// The bounds of one search, in counts, so that the answer doesn't depend on the
// machine. They are set so that giving up takes a second or two and stays far
// below 256 MB.
const (
	maxLooks  = 4_000_000 // at a rule, while looking for ends or orders
	maxStates = 400_000   // remembered at once
)

// work counts what a search does.
type work struct {
	looks, states       int
	maxLooks, maxStates int
}

func newWork() *work { return &work{maxLooks: maxLooks, maxStates: maxStates} }

func (w *work) look()      { w.looks++ }
func (w *work) over() bool { return w.looks > w.maxLooks || w.states > w.maxStates }
