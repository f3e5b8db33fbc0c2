//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// turnPatience is how long a program waits for its turn.
const turnPatience = 30 * time.Second

// takeTurn waits until it is this program's turn to write to the file, and
// gives what ends it. SQLite's own waiting looks now and then whether the file
// is free, and who is unlucky finds it taken every time; a lock on its folder
// is handed on as soon as it is given up. This is a courtesy only: where it
// can't be had the file's own lock decides.
func (l *Ledger) takeTurn(ctx context.Context) (leave func()) {
	if l.file == "" || l.outOfTurn {
		return func() {}
	}
	dir, err := os.Open(filepath.Dir(l.file))
	if err != nil {
		return func() {}
	}
	turn := make(chan struct{})
	go func() {
		for errors.Is(syscall.Flock(int(dir.Fd()), syscall.LOCK_EX), syscall.EINTR) {
		}
		close(turn)
	}()
	leave = func() {
		<-turn
		dir.Close() // which gives up the lock
	}
	select {
	case <-turn:
		return leave
	case <-ctx.Done():
	case <-time.After(turnPatience):
		l.outOfTurn = true // somebody else keeps the folder locked
	}
	go leave() // whenever the turn comes
	return func() {}
}
