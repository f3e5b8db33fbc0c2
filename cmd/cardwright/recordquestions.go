package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"

	"cardwright/media"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// dialogue asks a person at a terminal.
type dialogue struct {
	*terminal
	typed *bufio.Reader // nil: nobody is there to ask
}

func (t *terminal) dialogue() dialogue {
	if in, ok := t.in.(*os.File); ok && term.IsTerminal(int(in.Fd())) {
		return dialogue{t, bufio.NewReader(in)}
	}
	return dialogue{terminal: t}
}

// askOpen asks for what is open until nothing is; where nobody is there, what is needed
// and open is an error that lists it.
func (d dialogue) askOpen(ctx context.Context, v *visiting, i *record.Interview) error {
	if d.typed == nil {
		var needed []string
		for _, q := range i.Needed() {
			needed = append(needed, q.Ask, "  "+flagFor(v.job, q))
		}
		if len(needed) > 0 {
			return usage(fmt.Errorf("this is open, and nobody is there to ask:\n  %s\n--put-off-rest WHY puts off all steps that are left, --sheet FILE takes a filled\nsheet, --other-plan leaves today's plan alone", strings.Join(needed, "\n  ")))
		}
		return nil
	}
	if len(i.Open()) > 0 {
		fmt.Fprintf(d.errs, "%s\n\n", wrapped(howToAnswer(v.vessel.Name, i), ""))
	}
	for {
		q, ok := i.Next()
		if !ok {
			return nil
		}
		said, err := d.ask(ctx, q.Ask, q.Default)
		if err != nil {
			return err
		}
		if err := i.Answer(q, said); err != nil {
			fmt.Fprintf(d.errs, "  %s\n", wrapped(err.Error(), "  "))
		}
	}
}

// flagFor is the flag that answers a question, as an example.
func flagFor(j record.Job, q record.Question) string {
	kind, of, _ := strings.Cut(q.Key, "/")
	flag, said := "--step", of+"="
	switch kind {
	case "step":
		said += "done"
		for _, s := range j.Plan.Steps {
			if fmt.Sprint(s.Number) == of {
				said = fmt.Sprintf("%s=%s to %s, %d min", of, s.From, s.To, max(1, s.Minutes))
			}
		}
	case "check":
		device, check, _ := strings.Cut(of, "/")
		flag, said = "--check", device+":"+check+"=passed"
	default:
		said += "…, and the reason"
	}
	return flag + " " + media.ShellWord(said)
}

// howToAnswer says once what is the same for every step.
func howToAnswer(vessel string, i *record.Interview) string {
	steps, n := i.Job.Plan.Steps, i.Steps()
	if n == 0 {
		return fmt.Sprintf("%s: what was done aboard? Nothing is noted before the last answer.", vessel)
	}
	return fmt.Sprintf("%s: what became of the %s? Type the version that the device shows now, or both versions and the minutes: %s to %s, %d min. Or: failed, and why; put off, and why; rest put off, and why. Nothing is noted before the last answer.",
		vessel, counted(n, "step"), steps[0].From, steps[0].To, max(1, steps[0].Minutes))
}

// ask asks one question; an empty answer means the usual one.
func (d dialogue) ask(ctx context.Context, question, usual string) (string, error) {
	if usual != "" {
		question += " [" + usual + "]"
	}
	fmt.Fprintf(d.errs, "%s ", wrapped(question, "  "))
	text, err := lineTyped(ctx, d.typed)
	if err != nil {
		fmt.Fprintln(d.errs)
		return "", fmt.Errorf("reading the answer; nothing was noted: %w", err)
	}
	return cmp.Or(text, usual), nil
}

// confirm shows what would be noted and asks whether it is right.
func (d dialogue) confirm(ctx context.Context, by string, entries []ledger.Entry) (bool, error) {
	fmt.Fprintf(d.errs, "\nThis will be noted, by %s:\n", visible.Visible(by))
	for _, e := range entries {
		fmt.Fprintf(d.errs, "  %s\n", wrapped(e.Tell(), "    "))
	}
	for {
		answer, err := d.ask(ctx, "Is it right: yes or no?", "")
		if err != nil {
			return false, err
		}
		switch strings.ToLower(answer) {
		case "y", "yes":
			return true, nil
		case "n", "no":
			return false, nil
		}
	}
}
