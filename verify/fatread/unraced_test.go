//go:build !race

package fatread

const (
	fewer  = 1
	larger = 1
)
