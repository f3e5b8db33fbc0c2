package main

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/intake/adding"
	"cardwright/media/place"
	"cardwright/verify"
	"cardwright/verify/ledger/unchanged"
	"cardwright/verify/prepare"
)

// Which exit code comes of which error, however deep it is wrapped (README, "Exit
// codes").
func TestExitCodesOfErrors(t *testing.T) {
	seen := map[int]bool{}
	for _, c := range []struct {
		err  error
		code int
	}{
		{nil, exitDone},
		{errors.New("the disk is on fire"), exitCouldNot},
		{usage(errors.New("no such flag")), exitUsage},
		{manifest.Mistakes{{What: "unknown key"}}, exitUsage},
		{&order.BadAsk{}, exitUsage},
		{&prepare.BadJob{Err: errors.New("one target twice")}, exitUsage},
		{&adding.BadSaid{Err: errors.New("no such file in the release")}, exitUsage},
		{&drive.NotATarget{Path: "a pipe"}, exitUsage},
		{&place.NoPlace{}, exitUsage},
		{drive.Unknown("DRIVE", nil), exitCouldNot},
		{drive.Unknown("DRIVE", &place.NoPlace{}), exitCouldNot},
		{&media.Misread{Err: errors.New("byte 7")}, exitNo},
		{&unchanged.Changed{}, exitNo},
		{&inConflict{}, exitNo},
		{context.Canceled, exitInterrupted},
		{context.DeadlineExceeded, exitInterrupted},
		{&media.NotBlank{Cause: context.Canceled, Blanking: errors.New("pulled out")}, exitInterrupted},
		{&media.NotBlank{Cause: &media.Misread{Err: errors.New("byte 7")}, Blanking: errors.New("pulled out")}, exitNo},
		{&answered{exitUnchecked}, exitUnchecked},
		{endWith(exitDone), exitDone},
		{endWith(exitNo), exitNo},
	} {
		seen[c.code] = true
		assert.Equal(t, c.code, code(c.err), "%v", c.err)
		if c.err != nil {
			assert.Equal(t, c.code, code(fmt.Errorf("writing the card: %w", errors.Join(errors.New("and more"), c.err))), "wrapped: %v", c.err)
		}
	}
	assert.Len(t, seen, 6, "every code that there is")
}

// Which exit code comes of a verdict, of one target, of a part, and of several.
func TestExitCodesOfOutcomes(t *testing.T) {
	assert.Equal(t, exitDone, verdictCode(verify.Good))
	assert.Equal(t, exitNo, verdictCode(verify.Bad))
	assert.Equal(t, exitUnchecked, verdictCode(verify.Unchecked))
	assert.Equal(t, exitUnchecked, verdictCode("a verdict that a later build has"), "never good by default")

	unchecked, good := &verify.Report{Verdict: verify.Unchecked}, &verify.Report{Verdict: verify.Good}
	misread := media.Outcome{Err: &media.Misread{Err: errors.New("byte 7")}}
	assert.Equal(t, exitDone, targetCode(&prepare.Target{Report: good}))
	assert.Equal(t, exitUnchecked, targetCode(&prepare.Target{Report: unchecked}))
	assert.Equal(t, exitNo, targetCode(&prepare.Target{Report: unchecked, Outcome: misread}))
	assert.Equal(t, exitCouldNot, targetCode(&prepare.Target{Outcome: media.Outcome{Err: errors.New("full")}}))

	conflict, unknown := order.LeftOut{Conflict: &order.Conflict{}}, order.LeftOut{Unknown: []string{"radar"}}
	assert.Equal(t, exitDone, leftOutCode(order.Plan{}))
	assert.Equal(t, exitNo, leftOutCode(order.Plan{LeftOut: []order.LeftOut{conflict}}))
	assert.Equal(t, exitCouldNot, leftOutCode(order.Plan{LeftOut: []order.LeftOut{conflict, unknown}}))

	for _, c := range []struct {
		codes []int
		code  int
	}{
		{nil, exitDone},
		{[]int{exitDone, exitDone}, exitDone},
		{[]int{exitDone, exitUnchecked}, exitUnchecked},
		{[]int{exitUnchecked, exitNo, exitDone}, exitNo},
		{[]int{exitNo, exitCouldNot, exitUnchecked}, exitCouldNot},
		{[]int{exitCouldNot, exitNo, exitInterrupted}, exitInterrupted},
	} {
		assert.Equal(t, c.code, first(c.codes), "%v", c.codes)
	}
}

// In a run that was interrupted an error of whatever was stopped is the interruption,
// but an answer stays one.
func TestExitCodesOfInterruptedRuns(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	broken := errors.New("read: connection reset")
	assert.Equal(t, exitCouldNot, codeIn(ctx, broken))
	cancel()
	assert.Equal(t, exitInterrupted, codeIn(ctx, broken))
	assert.Equal(t, exitNo, codeIn(ctx, &media.Misread{Err: broken}))
	assert.Equal(t, exitCouldNot, codeIn(ctx, &answered{exitCouldNot}))
	assert.Equal(t, exitDone, codeIn(ctx, nil))
}
