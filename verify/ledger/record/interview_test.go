package record_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// A script answers the questions as a person at a terminal does: the sheet is then
// whole, and each question came once, the checks counted.
func TestAScriptAnswersTheInterview(t *testing.T) {
	j := job()
	f := record.Filled{Format: record.Format, Vessel: "kittiwake", Plan: j.Plan.ID(), By: "Ada"}
	i := record.Interview{Job: j, Filled: &f}
	require.Len(t, i.Needed(), 3, "nobody's silence means that a step was done")
	assert.Equal(t, 3, i.Steps())
	answers := map[string]string{
		"step/1": "1.6 to 1.8, 12 min", "step/2": "failed, screen stayed dark", "step/3": "put off", "note/3": "the tide",
		"check/radar/radar picture": "passed, harbour wall at 0.2 M", "approved_by": "the owner",
	}
	var asked []string
	for q, ok := i.Next(); ok; q, ok = i.Next() {
		asked = append(asked, q.Key+" "+q.Ask)
		require.Less(t, len(asked), 20, "it ends")
		require.NoError(t, i.Answer(q, answers[q.Key]), q.Key)
	}
	assert.True(t, i.Answered)
	assert.Empty(t, i.Needed())
	all := strings.Join(asked, "\n")
	for key := range answers {
		assert.Equal(t, 1, strings.Count(all, key+" "), key)
	}
	assert.Contains(t, all, "Check 1 of ")
	assert.Equal(t, []string{"approved_by", "told"}, []string{strings.Fields(asked[len(asked)-2])[0], strings.Fields(asked[len(asked)-1])[0]}, "who agreed and who was informed comes last")
	assert.Equal(t, "the owner", outcomeOf(t, j, f).ApprovedBy)
	assert.True(t, i.Confirm(), "what was typed is shown before it is noted")
	outcome, err := j.Entries(f, visit())
	require.NoError(t, err)
	assert.NotEmpty(t, outcome.Entries)
}

// outcomeOf is how the visit of a sheet begins.
func outcomeOf(t *testing.T, j *record.Job, f record.Filled) *ledger.Visit {
	t.Helper()
	out, err := j.Entries(f, visit())
	require.NoError(t, err)
	return out.Entries[0].VisitBegun
}

// Who typed a version by mistake takes it back where a reason for it is asked.
func TestAResultIsNoReasonForAnotherVersion(t *testing.T) {
	j, f := job(), record.Filled{Format: record.Format, Vessel: "kittiwake"}
	require.NoError(t, j.Answer(&f, "step/1", "1.7, 4 min"))
	require.Contains(t, j.Open(f)[0].Ask, "was on no verified card")
	require.NoError(t, j.Answer(&f, "note/1", "put off, the tide"))
	assert.Equal(t, record.PutOff, f.Steps[0].Result)
	assert.Equal(t, "the tide", f.Steps[0].Note)
	require.NoError(t, j.Answer(&f, "note/1", "failed by the tide"), "of a step that wasn't done it is the reason")
	assert.Equal(t, record.PutOff, f.Steps[0].Result)
}

// Somebody who has said nothing isn't asked who agreed to it.
func TestNobodyIsAskedWhoAgreedToNothing(t *testing.T) {
	f := record.Filled{Format: record.Format, Vessel: "kittiwake", SettingsSaved: "nowhere"}
	i := record.Interview{Job: job(), Filled: &f, OtherPlan: true}
	_, open := i.Next()
	assert.False(t, open)
	assert.False(t, i.Confirm())
	i.Sheet = true
	assert.True(t, i.Confirm(), "a sheet that a person reads in is shown before it is noted")
}

// What is no answer is asked again, and changes nothing.
func TestWhatIsNoAnswerIsAskedAgain(t *testing.T) {
	f := record.Filled{Format: record.Format, Vessel: "kittiwake"}
	i := record.Interview{Job: job(), Filled: &f}
	first, _ := i.Next()
	for _, wrong := range []string{"", "perhaps", "1.8, 99999999 min"} {
		require.Error(t, i.Answer(first, wrong), wrong)
		assert.Empty(t, f.Steps)
		again, ok := i.Next()
		require.True(t, ok)
		assert.Equal(t, first, again)
	}
	assert.False(t, i.Answered)
}

func TestWorkWrittenAsOneLine(t *testing.T) {
	j := job()
	for text, want := range map[string]record.FilledStep{
		"1=1.6 to 1.8, 12 min":           {Number: 1, Device: "radar", Before: "1.6", After: "1.8", Minutes: 12, Result: record.Done},
		"1=done:1.6:1.8:12:slow":         {Number: 1, Device: "radar", Before: "1.6", After: "1.8", Minutes: 12, Result: record.Done, Note: "slow"},
		"1=1.6 -> 1.8":                   {Number: 1, Device: "radar", Before: "1.6", After: "1.8", Result: record.Done},
		"1=done, 5 min":                  {Number: 1, Device: "radar", After: "1.8", Minutes: 5, Result: record.Done},
		"1=done":                         {Number: 1, Device: "radar", After: "1.8", Result: record.Done},
		"3=put off, the tide":            {Number: 3, Device: "pilot", Result: record.PutOff, Note: "the tide"},
		"2=failed:3.1-40::7:dark: black": {Number: 2, Device: "flybridge", Before: "3.1-40", Minutes: 7, Result: record.Failed, Note: "dark: black"},
	} {
		step, err := j.WrittenStep(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, step, text)
	}
	for _, text := range []string{"", "1", "x=done", "0=done", "4=done", "1=", "1=done:1.6:1.8:soon", "1=1.6 to", "1=done 1.6 to", "1=1.6 →", "1=12 min", "1=1.6 to 12 min"} {
		_, err := j.WrittenStep(text)
		assert.Error(t, err, text)
	}
	check, err := record.WrittenCheck("radar:radar picture=passed:wall: 0.2 M")
	require.NoError(t, err)
	assert.Equal(t, record.FilledCheck{Device: "radar", Check: "radar picture", Result: "passed", Value: "wall: 0.2 M"}, check)
	for _, text := range []string{"", "radar=passed", "radar:picture"} {
		_, err := record.WrittenCheck(text)
		assert.Error(t, err, text)
	}
	_, err = record.WrittenReading("radar 1.8")
	assert.Error(t, err)
}
