package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"golang.org/x/term"

	"cardwright/manifest"
)

// asking asks a person for what the flags didn't say: at a terminal, unless they
// said all that can't be guessed, or where --ask says that there is somebody at
// the other end.
type asking struct {
	ctx      context.Context // of the command that asks
	terminal *terminal
	in       *bufio.Reader // nil: nobody is asked
}

// maxAnswer is the longest answer that is read, in bytes.
const maxAnswer = 1000

func (t *terminal) asking(ctx context.Context, force, told bool) *asking {
	a := &asking{ctx: ctx, terminal: t}
	f, ok := t.in.(*os.File)
	if terminal := ok && term.IsTerminal(int(f.Fd())); force || terminal && !told && !t.yes && !t.json {
		if t.answers == nil {
			t.answers = bufio.NewReader(t.in)
		}
		a.in = t.answers
	}
	return a
}

// value is what the flag says, or the answer to a question, or the usual value.
// key names the key of the shop's files for which it is; what may not stand
// there is bad usage where it was given, and asked for again where it was typed.
func (a *asking) value(given, flag, key, usual string) (string, error) {
	if given != "" {
		if m := manifest.Problem(key, given); m != nil {
			return "", usage(fmt.Errorf("%s: %s: found %s, expected %s%s", flag, m.What, m.Found, m.Expected, tryIt(m.Advice)))
		}
		return given, nil
	}
	if a.in == nil {
		return usual, nil
	}
	for {
		answer, err := a.line(asks(key), usual)
		if err != nil || answer == "" {
			return usual, err
		}
		m := manifest.Problem(key, answer)
		if m == nil {
			return answer, nil
		}
		a.say("%s: found %s, expected %s%s", m.What, m.Found, m.Expected, tryIt(m.Advice))
	}
}

// say answers an entry that isn't accepted.
func (a *asking) say(format string, args ...any) {
	fmt.Fprintln(a.terminal.errs, wrappedAfter("  ", fmt.Sprintf(format, args...), "    "))
}

// must is value for what may not be left out.
func (a *asking) must(given, flag, key, usual string) (string, error) {
	for {
		v, err := a.value(given, flag, key, usual)
		switch {
		case err != nil || v != "":
			return v, err
		case a.in == nil:
			return "", usage(fmt.Errorf("say with %s: %s", flag, manifest.Help(key)))
		}
	}
}

// asks is what a key says, with its example apart from what is answered.
func asks(key string) string {
	what, example, ok := strings.Cut(manifest.Help(key), ": ")
	if !ok || strings.Contains(example, ";") {
		return manifest.Help(key)
	}
	return what + ", such as " + example
}

// ids asks for several of these ids, in one line; none of them is an answer too.
func (a *asking) ids(question string, among []string) ([]string, error) {
	if a.in == nil || len(among) == 0 {
		return nil, nil
	}
	for {
		answer, err := a.line(question+" ("+strings.Join(among, ", ")+")", "none")
		if err != nil || answer == "" || answer == "none" {
			return nil, err
		}
		given := strings.FieldsFunc(answer, func(r rune) bool { return r == ' ' || r == ',' })
		wrong := slices.IndexFunc(given, func(id string) bool { return !slices.Contains(among, id) })
		if wrong < 0 {
			return given, nil
		}
		a.say("found %q, expected some of these, with spaces between them%s", given[wrong], tryIt(manifest.Nearest(given[wrong], among)))
	}
}

// yes asks a question of yes or no.
func (a *asking) yes(question string, usual bool) (bool, error) {
	if a.in == nil {
		return usual, nil
	}
	word := map[bool]string{true: "yes", false: "no"}[usual]
	for {
		answer, err := a.line(question+" yes or no", word)
		switch strings.ToLower(answer) {
		case "":
			return usual, err
		case "y", "yes":
			return true, err
		case "n", "no":
			return false, err
		}
	}
}

// line asks for one line; the end of the input is the end of the work, and so is
// an interrupt.
func (a *asking) line(question, usual string) (string, error) {
	if usual != "" {
		question += " [" + usual + "]"
	}
	fmt.Fprintf(a.terminal.errs, "%s: ", wrapped(question, "  "))
	text, err := lineTyped(a.ctx, a.in)
	if err != nil {
		fmt.Fprintln(a.terminal.errs) // nobody ended the line of the question
		return "", fmt.Errorf("reading the answer; nothing was written: %w", err)
	}
	return text, nil
}

// errInputEnded says that nobody is there any longer.
var errInputEnded = errors.New("the input ended")

// lineTyped waits for a line, or for the user to interrupt: at a question
// nothing else would answer that.
func lineTyped(ctx context.Context, in *bufio.Reader) (string, error) {
	type line struct {
		text string
		err  error
	}
	typed := make(chan line, 1)
	go func() { // it reads on until the process ends; nothing can stop it
		text, err := boundedLine(in)
		typed <- line{text, err}
	}()
	select {
	case l := <-typed:
		return l.text, l.err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// boundedLine is the next line of the input, trimmed. The last one needs no end.
func boundedLine(in *bufio.Reader) (string, error) {
	var typed []byte
	for {
		b, err := in.ReadByte()
		switch {
		case errors.Is(err, io.EOF) && len(typed) == 0:
			return "", errInputEnded
		case err != nil && !errors.Is(err, io.EOF):
			return "", err
		case err != nil || b == '\n':
			return strings.TrimSpace(string(typed)), nil
		case len(typed) == maxAnswer:
			return "", fmt.Errorf("more than %d bytes in one line", maxAnswer)
		}
		typed = append(typed, b)
	}
}

func tryIt(hint string) string {
	if hint == "" {
		return ""
	}
	return "; try " + hint
}

// askFlag is --ask, of every command that asks.
const askFlag = "ask for what the flags don't say, even where the input is no terminal"
