package main

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"cardwright/manifest/durable"
	"cardwright/media"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// saveTyped keeps the answers, where they could not be noted or weren't right:
// nobody types twenty answers twice.
func (v *visiting) saveTyped(interview *record.Interview, cause error) error {
	if !interview.Answered {
		return cause
	}
	name := fmt.Sprintf("unfinished-%s-%s.json", v.vessel.ID, time.Now().Format("20060102-150405"))
	path := filepath.Join(v.shop.Dir, name)
	text, err := v.filled.JSON()
	if err == nil {
		err = durable.WriteNew(path, 0o666, bytes.NewReader(text))
	}
	again := "  " + v.again(path)
	switch {
	case err != nil:
		return errors.Join(cause, fmt.Errorf("keeping your answers: %w", err))
	case cause != nil:
		return fmt.Errorf("%w\nyour answers are in %s\ncarry on from there:\n%s", cause, path, again)
	}
	fmt.Fprintf(v.session.errs, "Nothing was noted. Your answers are in %s\nCorrect them there, then:\n%s\n", visible.Visible(path), again)
	return nil
}

// again is the command that goes on with a sheet as this one would have.
func (v *visiting) again(sheet string) string {
	o := v.options
	words := append([]string{"cardwright", "record", v.vessel.ID, "--sheet", sheet}, v.session.flags(o.ask)...)
	for _, flag := range []struct{ name, value string }{{"--key", o.key.file}, {"--at", o.at}, {"--purpose", o.purpose}} {
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
