package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/term"

	"cardwright/manifest/durable"
	"cardwright/media"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// askOpen asks at a terminal for what is open; elsewhere what is needed and
// open is an error that lists it.
func (r *recording) askOpen(ctx context.Context) error {
	if r.options.onlyReads() {
		return nil
	}
	r.open = record.Interview{Job: &r.job, Filled: &r.filled, OtherPlan: r.options.otherPlan}
	in, ok := r.session.in.(*os.File)
	if ok && term.IsTerminal(int(in.Fd())) {
		r.typed = bufio.NewReader(in)
		r.howToAnswer()
		return r.askAll(ctx)
	}
	var needed []string
	for _, q := range r.open.Needed() {
		needed = append(needed, q.Ask)
	}
	if len(needed) > 0 {
		return usage(fmt.Errorf("this is open, and nobody is there to ask:\n  %s\nsay it with --step, --check or --sheet", strings.Join(needed, "\n  ")))
	}
	return nil
}

// howToAnswer says once what is the same for every step.
func (r *recording) howToAnswer() {
	if len(r.open.Open()) == 0 {
		return
	}
	text := fmt.Sprintf("%s: what was done aboard? Nothing is noted before the last answer.", r.vessel.Name)
	if steps, n := r.job.Plan.Steps, r.open.Steps(); n > 0 {
		text = fmt.Sprintf("%s: what became of the %s? Type the version that the device shows now, or both versions and the minutes: %s to %s, %d min. Or: failed, and why; put off, and why; rest put off, and why. Nothing is noted before the last answer.",
			r.vessel.Name, counted(n, "step"), steps[0].From, steps[0].To, max(1, steps[0].Minutes))
	}
	fmt.Fprintf(r.session.errs, "%s\n\n", wrapped(text, ""))
}

// askAll asks until nothing is open.
func (r *recording) askAll(ctx context.Context) error {
	for {
		q, ok := r.open.Next()
		if !ok {
			return r.askWho(ctx)
		}
		said, err := r.ask(ctx, q.Ask, q.Default)
		if err != nil {
			return err
		}
		if err := r.open.Answer(q, said); err != nil {
			fmt.Fprintf(r.session.errs, "  %s\n", wrapped(err.Error(), "  "))
		}
	}
}

// askWho asks who was told and who agreed, where anything was answered.
func (r *recording) askWho(ctx context.Context) (err error) {
	if !r.open.Answered {
		return nil
	}
	for _, q := range []struct {
		to  *string
		ask string
	}{
		{&r.visit.ApprovedBy, "Who agreed to the work (initials or a role; empty: not said)?"},
		{&r.visit.Told, "Who was told (initials or a role; empty: nobody)?"},
	} {
		if *q.to != "" {
			continue
		}
		if *q.to, err = r.ask(ctx, q.ask, ""); err != nil {
			return err
		}
	}
	return nil
}

// ask asks one question; an empty answer means the usual one.
func (r *recording) ask(ctx context.Context, question, usual string) (string, error) {
	if usual != "" {
		question += " [" + usual + "]"
	}
	fmt.Fprintf(r.session.errs, "%s ", wrapped(question, "  "))
	text, err := lineTyped(ctx, r.typed)
	if err != nil {
		fmt.Fprintln(r.session.errs)
		return "", fmt.Errorf("reading the answer; nothing was noted: %w", err)
	}
	return cmp.Or(text, usual), nil
}

// agreed shows what would be noted and asks whether it is right, since what is
// noted stays: only where something was typed or a sheet was named at a
// terminal, and --yes doesn't say so.
func (r *recording) agreed(ctx context.Context, outcome record.Outcome) (bool, error) {
	sheet := r.typed != nil && r.options.sheet != ""
	if !r.open.Answered && !sheet || r.session.yes {
		return true, nil
	}
	fmt.Fprintf(r.session.errs, "\nThis will be noted, by %s:\n", visible.Visible(r.filled.By))
	for _, e := range outcome.Entries {
		fmt.Fprintf(r.session.errs, "  %s\n", wrapped(e.Tell(), "    "))
	}
	for {
		answer, err := r.ask(ctx, "Is it right: yes or no?", "")
		switch strings.ToLower(answer) {
		case "y", "yes":
			return true, err
		case "n", "no":
			return false, err
		}
		if err != nil {
			return false, err
		}
	}
}

// askAndNote asks what is open and notes all of it, if it is right.
func (r *recording) askAndNote(ctx context.Context) (outcome record.Outcome, noted bool, err error) {
	if err := r.askOpen(ctx); err != nil {
		return outcome, false, err
	}
	if outcome, err = r.job.Entries(r.filled, r.visit); err != nil {
		return outcome, false, usage(err)
	}
	yes, err := r.agreed(ctx, outcome)
	if err != nil || !yes {
		return outcome, false, err
	}
	r.session.by = r.filled.By
	err = noteVisit(ctx, r.session, r.shop, r.key, r.visit.ID, outcome.Entries...)
	return outcome, err == nil, err
}

// saveTyped keeps what was typed, where it could not be noted or wasn't right:
// nobody types twenty answers twice.
func (r *recording) saveTyped(cause error) error {
	if !r.open.Answered {
		return cause
	}
	name := fmt.Sprintf("unfinished-%s-%s.json", r.vessel.ID, time.Now().Format("20060102-150405"))
	path := filepath.Join(r.shop.Dir, name)
	err := r.writeTyped(path)
	again := "  " + r.again(path)
	switch {
	case err != nil:
		return errors.Join(cause, fmt.Errorf("keeping what was typed: %w", err))
	case cause != nil:
		return fmt.Errorf("%w\nwhat you typed stands in %s\ngo on from there:\n%s", cause, path, again)
	}
	fmt.Fprintf(r.session.errs, "Nothing was noted. What you typed stands in %s\nPut it right there, then:\n%s\n", visible.Visible(path), again)
	return nil
}

// again is the command that goes on with a sheet as this one would have.
func (r *recording) again(sheet string) string {
	o := r.options
	words := append([]string{"cardwright", "record", r.vessel.ID, "--sheet", sheet}, r.session.flags(o.ask)...)
	for _, flag := range []struct{ name, value string }{
		{"--key", o.key.file}, {"--at", o.at}, {"--purpose", o.purpose}, {"--told", r.visit.Told}, {"--approved", r.visit.ApprovedBy},
	} {
		if flag.value != "" {
			words = append(words, flag.name, flag.value)
		}
	}
	if o.otherPlan {
		words = append(words, "--other-plan")
	}
	for i := range words {
		words[i] = media.ShellWord(words[i])
	}
	return strings.Join(words, " ")
}

func (r *recording) writeTyped(path string) error {
	text, err := r.filled.JSON()
	if err != nil {
		return err
	}
	return durable.WriteNew(path, 0o666, bytes.NewReader(text))
}
