package problem

import (
	"fmt"
	"strings"
)

// Act is something that advice asks its reader to do with the program, in plain
// words. Engines name acts; what talks to people has Words for them.
type Act string

// Words are what acts are called where advice is read: at a command line, commands and
// flags. %s is what an act is done to.
type Words map[Act]string

// For puts an act into these words, with what it is done to; an act without words uses
// its own, followed by that.
func (w Words) For(a Act, of ...any) string {
	if form, ok := w[a]; ok {
		return fmt.Sprintf(form, of...)
	}
	return strings.TrimSpace(string(a) + " " + strings.TrimSuffix(fmt.Sprintln(of...), "\n"))
}
