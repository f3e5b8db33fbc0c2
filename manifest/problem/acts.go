package problem

import (
	"fmt"
	"strings"
)

// Act is something that advice asks its reader to do with the program, in plain
// words. Engines name acts; what talks to people has Words for them.
type Act string

// Words are what acts are called where advice is read: at a command line, commands and
// flags. %s stands for what an act is done to.
type Words map[Act]string

// For is an act in these words, of what it is done to; an act without words stands in
// its own, with that behind it.
func (w Words) For(a Act, of ...any) string {
	if form, ok := w[a]; ok {
		return fmt.Sprintf(form, of...)
	}
	return strings.TrimSpace(string(a) + " " + strings.TrimSuffix(fmt.Sprintln(of...), "\n"))
}
