package main

import (
	"bufio"
	"io"
	"regexp"
)

// What goes where, for every command:
//
//   - The answer goes to standard output, the conclusion first. With --json it is one
//     JSON value, also where a command fails: then it holds the error.
//   - Questions, progress and notes on the answer go to standard error.
//     An error is one text that begins with "cardwright: " (exit.go, complain).
//   - Nobody is asked without a terminal, or with --yes or --json; --ask asks all the
//     same (ask.go). What can't be left out is then bad usage.
//   - Texts from outside are made visible before they are shown, and lines broken at
//     the screen's width (wrapping.go). Nothing is shown by colour alone.
//   - Commands that a text names are for copying: they get the --shop that was named
//     (shopintexts.go).
//   - The exit code is the same in every form (exit.go).

// terminal is the person or the program at the other end of a run.
type terminal struct {
	in   io.Reader
	out  io.Writer
	errs io.Writer

	json    bool   // --json
	yes     bool   // --yes
	shopDir string // --shop, which commands in texts get too, see keepShop

	answers  *bufio.Reader  // over in, once anything is asked: what one asking has buffered is the next one's
	commands *regexp.Regexp // those that texts name, see keepShop
	typed    []string       // words of the command line, and the values after = in them
}
