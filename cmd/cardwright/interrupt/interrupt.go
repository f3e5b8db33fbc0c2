// Package interrupt takes the signals by which a user or the system asks a
// program to end: Ctrl-C, a closed terminal, a shutdown.
//
// It takes them from its own initialisation on. It imports so little that this
// comes before nearly all other packages', whose tables and patterns take tens
// of milliseconds: TestSignalsAreTakenFirst holds it to that.
package interrupt

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

// caught are the signals that came and weren't answered yet.
var caught = catch()

func catch() chan os.Signal {
	c := make(chan os.Signal, 8)
	signal.Notify(c, os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT)
	if !signal.Ignored(syscall.SIGHUP) { // nohup, https://pubs.opengroup.org/onlinepubs/9799919799/utilities/nohup.html
		signal.Notify(c, syscall.SIGHUP)
	}
	return c
}

// echo is how long after the first signal others are taken for the same event:
// a shell passes on the hangup that the terminal has sent already, and a system
// that shuts down sends both SIGTERM and SIGHUP. Nobody types these.
const echo = 2 * time.Second

// Context is ended by the first signal; again is called at each later one, and
// is to end what couldn't answer the first.
func Context(parent context.Context, again func()) context.Context {
	ctx, end := context.WithCancel(parent)
	select {
	case <-caught: // while the program started
		end()
		go later(time.Now(), again)
		return ctx
	default:
	}
	go func() {
		<-caught
		end()
		later(time.Now(), again)
	}()
	return ctx
}

func later(first time.Time, again func()) {
	for s := range caught {
		typed := s == os.Interrupt || s == syscall.SIGQUIT
		if typed || time.Since(first) > echo {
			again()
		}
	}
}
