// Command cardwright plans the software updates of a vessel's devices, puts
// the packages on a memory card, proves the card, and prints the order in
// which they are installed.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"cardwright/cmd/cardwright/interrupt"
)

func main() { os.Exit(start()) }

// start runs the command line of this process.
func start() int {
	ctx := interrupt.Context(context.Background(), func() { os.Exit(exitInterrupted) })
	signal.Ignore(syscall.SIGPIPE) // reported by answerWriter
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

// answerWriter remembers that an answer could not be written. A reader that
// has read enough, as head does, is no fault: the rest is dropped, and the work
// that was asked for, such as noting a card, goes on.
type answerWriter struct {
	to     io.Writer
	lost   error
	closed bool
}

func (w *answerWriter) Write(p []byte) (int, error) {
	if w.closed {
		return len(p), nil
	}
	n, err := w.to.Write(p)
	switch {
	case errors.Is(err, syscall.EPIPE):
		w.closed = true
		return len(p), nil
	case err != nil && w.lost == nil:
		w.lost = err
	}
	return n, err
}

// run runs one command line and returns its exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	s := &session{terminal: terminal{in: in, out: &answerWriter{to: out}, errs: errs}}
	root := newRootCommand(s)
	root.SetArgs(args)
	for _, arg := range args {
		_, value, _ := strings.Cut(arg, "=")
		s.typed = append(s.typed, arg, value)
	}
	err := ctx.Err()
	if err != nil {
		err = fmt.Errorf("starting: %w", err) // no command may begin what nobody wants any longer
	} else {
		err = root.ExecuteContext(ctx)
	}
	s.json = s.json || err != nil && slices.Contains(args, "--json") // it may follow the flag that ended the parsing
	return s.end(ctx, err)
}
