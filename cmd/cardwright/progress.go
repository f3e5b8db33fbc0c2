package main

import (
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"cardwright/verify"
	"cardwright/verify/prepare"
)

// bar shows bytes, rate and time left on a terminal, and nothing elsewhere.
type bar struct{ shown *progressbar.ProgressBar }

// bar begins a progress bar of that many bytes on the session's error stream.
func (t *terminal) bar(what string, bytes int64) *bar {
	f, ok := t.errs.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) || bytes <= 0 {
		return &bar{}
	}
	return &bar{progressbar.NewOptions64(bytes,
		progressbar.OptionSetWriter(f),
		progressbar.OptionSetDescription(what),
		progressbar.OptionShowBytes(true),
		progressbar.OptionSetPredictTime(true),
		progressbar.OptionShowCount(),
		progressbar.OptionFullWidth(),
		progressbar.OptionUseANSICodes(takesCodes(f)), // else a line of full width leaves remains
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish(),
	)}
}

// watch shows the progress of what is being done, for whoever does it.
func (t *terminal) watch(what string) verify.Watch {
	return func(bytes int64) (func(int64), func()) {
		b := t.bar(what, bytes)
		return b.add, b.end
	}
}

// watchPhases is watch for what has several phases.
func (t *terminal) watchPhases(doing string, bytes int64) (prepare.Progress, prepare.Done) {
	b := t.bar(doing, bytes)
	return func(now string, n int64) {
		if now != "" {
			b.now(now)
		}
		b.add(n)
	}, b.end
}

func (b *bar) add(bytes int64) {
	if b.shown != nil {
		_ = b.shown.Add64(bytes) // a bar that can't be drawn is no reason to stop
	}
}

// now says what is being done, where that changes in the course of it.
func (b *bar) now(what string) {
	if b.shown != nil {
		b.shown.Describe(what)
	}
}

func (b *bar) end() {
	if b.shown != nil {
		_ = b.shown.Clear()
	}
}

// sizeOf is how many bytes a file has, to show how far its reading is.
func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0 // opening it says why
	}
	return info.Size()
}
