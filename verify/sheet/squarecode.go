package sheet

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// quiet is the white that a reader of square codes needs around one, in
// modules (ISO/IEC 18004).
const quiet = 4

// encode makes text into a square code; not ok where it doesn't fit in one.
func encode(text string) (code *qr.Code, ok bool) {
	code, err := qr.Encode(text, qr.M)
	return code, err == nil
}

// blackRuns are the runs of black modules in a row: where each begins, and how
// long it is.
func blackRuns(code *qr.Code, row int) [][2]int {
	var runs [][2]int
	for x := 0; x < code.Size; x++ {
		if !code.Black(x, row) {
			continue
		}
		from := x
		for x < code.Size && code.Black(x, row) {
			x++
		}
		runs = append(runs, [2]int{from, x - from})
	}
	return runs
}

// square is a square code as a path of an SVG drawing.
type square struct {
	Size int // modules, with the quiet zone
	Path string
}

// codePath draws text as a square code; no path where it doesn't fit in one.
func codePath(text string) square {
	code, ok := encode(text)
	if !ok {
		return square{}
	}
	var b strings.Builder
	for row := range code.Size {
		for _, run := range blackRuns(code, row) {
			fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", run[0]+quiet, row+quiet, run[1], run[1])
		}
	}
	return square{Size: code.Size + 2*quiet, Path: b.String()}
}
