//go:build race

package fatread

// The race detector multiplies time and memory. Nothing here runs in parallel with
// anything else, so the long tests take fewer steps under it, and memory is
// measured in the ordinary run.
const (
	fewer  = 20
	larger = 4
)
