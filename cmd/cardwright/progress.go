package main

import (
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
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
