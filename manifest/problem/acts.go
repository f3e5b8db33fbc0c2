package problem

import (
	"fmt"
	"strings"
)

// Act is something that an advice asks its reader to have the program do, in plain
// words. Engines name acts; who talks to people has Words for them.
type Act string

// Words are what acts are called where an advice is read: by commands and flags
// at a command line. %s stands for what an act is of.
type Words map[Act]string

// For is an act in these words; where they have none for it, in its own, with what
// it is of behind it.
func (w Words) For(a Act, of ...any) string {
	if form, ok := w[a]; ok {
		return fmt.Sprintf(form, of...)
	}
	return strings.TrimSpace(string(a) + " " + strings.TrimSuffix(fmt.Sprintln(of...), "\n"))
}
