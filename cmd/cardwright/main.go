// Command cardwright plans the software updates of a vessel's devices, puts
// the packages on a memory card, proves the card, and prints the order in
// which they are installed.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
)

func main() { os.Exit(start()) }

// start runs the command line of this process.
func start() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

// run runs one command line and returns its exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	s := &session{in: in, out: out, errs: errs}
	root := newRootCommand(s)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	return s.end(ctx, err)
}
