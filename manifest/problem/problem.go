// Package problem is how the program says that something is wrong: what was found and
// what was expected, in the same units; what that means; what to do. Types that add
// where it is wrong, and how bad that is, embed it.
package problem

// Problem is one thing that is wrong. It has texts from outside as they
// are: whoever shows it escapes them.
type Problem struct {
	Expected string `json:"expected"`
	Found    string `json:"found"`
	Meaning  string `json:"meaning"` // "" where what was found says it all
	Advice   string `json:"advice"`  // what to do; "" where there is nothing
}

// Line says in one line what was found, what was expected and what to do.
func (p Problem) Line() string {
	text := "found " + p.Found + ", expected " + p.Expected
	if p.Advice != "" {
		text += "; " + p.Advice
	}
	return text
}
