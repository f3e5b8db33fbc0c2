package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sys/windows"
)

// turnPatience is how long a program waits for its turn.
const turnPatience = 30 * time.Second

// takeTurn waits until it is this program's turn to write to the file, and
// gives what ends it: a name that the whole computer knows, which is handed on
// when it is given up or its holder ends. This is a courtesy only: where it
// can't be had the file's own lock decides.
func (l *Ledger) takeTurn(ctx context.Context) (leave func()) {
	nothing := func() {}
	if l.file == "" || l.outOfTurn {
		return nothing
	}
	path, err := filepath.Abs(l.file)
	if err != nil {
		return nothing
	}
	name, err := windows.UTF16PtrFromString(fmt.Sprintf(`Global\cardwright-ledger-%x`, sha256.Sum256([]byte(strings.ToLower(path)))))
	if err != nil {
		return nothing
	}
	turn, done := make(chan bool), make(chan struct{})
	go holdTurn(name, turn, done)
	leave = func() { close(done) }
	select {
	case l.outOfTurn = <-turn: // true: somebody else keeps it
		return leave
	case <-ctx.Done():
		go func() {
			<-turn
			leave()
		}()
		return nothing
	}
}

// holdTurn has one thread take a turn, say that it has it or can't have it,
// and give it up: a mutex belongs to a thread.
func holdTurn(name *uint16, turn chan<- bool, done <-chan struct{}) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	mutex, err := windows.CreateMutex(nil, false, name)
	if err != nil && !errors.Is(err, windows.ERROR_ALREADY_EXISTS) {
		turn <- false // the file's own lock decides
		<-done
		return
	}
	defer windows.CloseHandle(mutex)
	event, err := windows.WaitForSingleObject(mutex, uint32(turnPatience.Milliseconds()))
	mine := err == nil && (event == windows.WAIT_OBJECT_0 || event == windows.WAIT_ABANDONED)
	turn <- !mine
	<-done
	if mine {
		_ = windows.ReleaseMutex(mutex)
	}
}
