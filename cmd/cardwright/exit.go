package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/intake/adding"
	"cardwright/media/place"
	"cardwright/verify"
	"cardwright/verify/ledger/unchanged"
	"cardwright/verify/prepare"
	"cardwright/verify/visible"
)

// The exit codes, the same in every format.
const (
	exitDone        = 0   // done, or nothing to do
	exitCouldNot    = 1   // could not do it
	exitUsage       = 2   // bad usage or a bad manifest
	exitNo          = 3   // the answer is no
	exitUnchecked   = 4   // could not be fully checked
	exitInterrupted = 130 // interrupted by the user
)

// answered ends a command whose answer is already written, with its code.
type answered struct{ code int }

func (a *answered) Error() string { return fmt.Sprintf("exit code %d", a.code) }

// endWith ends a command whose answer is already written; nil where all is done.
func endWith(code int) error {
	if code == exitDone {
		return nil
	}
	return &answered{code}
}

// badUsage is an error in the command line.
type badUsage struct{ err error }

func (b *badUsage) Error() string { return b.err.Error() }
func (b *badUsage) Unwrap() error { return b.err }

func usage(err error) error { return &badUsage{err} }

// errorCodes say which exit code an error has: that of the first line it fits. All
// others are exitCouldNot.
var errorCodes = []struct {
	fits func(error) bool
	code int
}{
	{is[*badUsage], exitUsage},
	{is[manifest.Mistakes], exitUsage},
	{is[*order.BadAsk], exitUsage},
	{is[*prepare.BadJob], exitUsage},
	{is[*adding.BadSaid], exitUsage},
	{media.Interrupted, exitInterrupted},
	{is[*drive.NoDrive], exitCouldNot}, // it may be there in a moment
	{is[*drive.NotATarget], exitUsage},
	{is[*place.NoPlace], exitUsage},
	{is[*media.Misread], exitNo},
	{is[*unchanged.Changed], exitNo},
	{is[*inConflict], exitNo},
	{is[*stoodOn], exitNo},
}

func is[E error](err error) bool {
	_, ok := errors.AsType[E](err)
	return ok
}

// code is the exit code of an error.
func code(err error) int {
	if err == nil {
		return exitDone
	}
	if a, ok := errors.AsType[*answered](err); ok {
		return a.code
	}
	for _, e := range errorCodes {
		if e.fits(err) {
			return e.code
		}
	}
	return exitCouldNot
}

// verdictCode is the exit code of a verdict.
func verdictCode(v verify.Verdict) int {
	switch v {
	case verify.Good:
		return exitDone
	case verify.Bad:
		return exitNo
	}
	return exitUnchecked
}

// targetCode is the exit code of what became of one target.
func targetCode(t *prepare.Target) int {
	if t.Outcome.Err == nil && t.Report != nil && t.Report.Verdict == verify.Unchecked {
		return exitUnchecked
	}
	return code(t.Outcome.Err)
}

// leftOutCode is the exit code of a plan that is only a part of the work: done, if it
// is all of it.
func leftOutCode(plan order.Plan) int {
	code := exitDone
	for _, l := range plan.LeftOut {
		if l.Conflict == nil {
			return exitCouldNot // a version is unknown, or the search gave up
		}
		code = exitNo
	}
	return code
}

// laptopCode is the code of a plan for which the shop's laptop lacks files.
func laptopCode(lacks []media.LaptopLack) int {
	if len(lacks) > 0 {
		return exitNo
	}
	return exitDone
}

// first is the code of several cards: the first of 130, 1, 3 and 4 that any
// of them has.
func first(codes []int) int {
	for _, c := range []int{exitInterrupted, exitCouldNot, exitNo, exitUnchecked} {
		for _, have := range codes {
			if have == c {
				return c
			}
		}
	}
	return exitDone
}

// codeIn is the exit code of an error in a run that may have been interrupted.
func codeIn(ctx context.Context, err error) int {
	c := code(err)
	if _, ok := errors.AsType[*answered](err); !ok && ctx.Err() != nil && c == exitCouldNot {
		return exitInterrupted
	}
	return c
}

// told is an error for an answer in JSON; "" where there is none, or the answer
// has it already.
func told(err error) string {
	if _, ok := errors.AsType[*answered](err); ok || err == nil {
		return ""
	}
	return err.Error()
}

// end writes the error that a command ended with and returns its exit code.
func (t *terminal) end(ctx context.Context, err error) int {
	c := codeIn(ctx, err)
	if told(err) == "" {
		return t.unwritten(c)
	}
	err = withDrives(ctx, err)
	if t.json {
		t.writeJSON(failure{Format: 1, Error: err.Error(), Mistakes: mistakes(err)})
		return c
	}
	if c == exitInterrupted {
		doing := strings.Replace(err.Error(), ": "+context.Canceled.Error(), "", 1)
		t.complain("interrupted while " + doing)
		return c
	}
	t.complain(err.Error())
	return c
}

// unwritten tells that the answer of a command that ended with a code could not
// be written, if so: then it is no success.
func (t *terminal) unwritten(c int) int {
	out, ok := t.out.(*answerWriter)
	if !ok || out.lost == nil {
		return c
	}
	t.complain("writing the answer: " + out.lost.Error())
	if c == exitDone {
		return exitCouldNot
	}
	return c
}

// complain writes an error. A terminal would break it within words; a file or
// a program gets its lines as they are.
func (t *terminal) complain(text string) {
	text = t.lines("cardwright: " + t.keepShop(text))
	if f, ok := t.errs.(*os.File); ok {
		text = fitted(screenColumns(f), text)
	}
	fmt.Fprintln(t.errs, text)
}

// failure is the JSON form of an error.
type failure struct {
	Format   int               `json:"format"`
	Error    string            `json:"error"`
	Mistakes manifest.Mistakes `json:"mistakes,omitempty"`
}

func mistakes(err error) manifest.Mistakes {
	m, _ := errors.AsType[manifest.Mistakes](err)
	return m
}

// lines is lines, but for what was typed: a path with a line's end in it would
// look like a line of ours.
func (t *terminal) lines(text string) string {
	for _, word := range t.typed {
		if before, after, ok := strings.Cut(text, word); ok && strings.ContainsAny(word, "\n\t") {
			return t.lines(before) + visible.Visible(word) + t.lines(after)
		}
	}
	return lines(text)
}

// lines makes every line of a text safe for a terminal.
func lines(text string) string {
	parts := strings.Split(text, "\n")
	for i, p := range parts {
		parts[i] = visible.Visible(strings.ReplaceAll(p, "\t", "    "))
	}
	return strings.Join(parts, "\n")
}

func (t *terminal) writeJSON(v any) {
	var answer bytes.Buffer
	enc := json.NewEncoder(&answer)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	if err == nil {
		_, err = t.out.Write(t.keepShopInJSON(answer.Bytes()))
	}
	if out, ok := t.out.(*answerWriter); err != nil && (!ok || out.lost == nil) {
		fmt.Fprintf(t.errs, "cardwright: writing the answer: %v\n", err)
	}
}
