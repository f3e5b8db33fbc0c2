package main

import (
	"bufio"
	"io"
	"regexp"
)

// terminal is the person or the program at the other end of a run. The answer
// goes to out, everything else (questions, progress, errors) to errs, so that an
// answer can be piped.
type terminal struct {
	in   io.Reader
	out  io.Writer
	errs io.Writer

	json    bool   // --json
	yes     bool   // --yes
	shopDir string // --shop, which commands in texts get too, see keepShop

	answers  *bufio.Reader  // over in, once anything is asked: what one asking has buffered is the next one's
	commands *regexp.Regexp // those that texts name, see keepShop
	typed    []string       // words of the command line, and what stands behind = in them
}
