package sheet

import "fmt"

// Paper is the size of a printed page.
type Paper string

// The papers: ISO 216 A4 (210 × 297 mm) and ANSI Letter (8.5 × 11 in).
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// size of the page in millimetres. No paper named is A4.
func (p Paper) size() (wide, high float64, err error) {
	switch p {
	case A4, "":
		return 210, 297, nil
	case Letter:
		return 215.9, 279.4, nil
	}
	return 0, 0, fmt.Errorf("paper %q; write one of %s, %s", string(p), A4, Letter)
}
