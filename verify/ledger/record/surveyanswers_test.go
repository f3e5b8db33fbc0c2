package record_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger/record"
)

const answersText = `{
  "format": 1, "kind": "survey", "vessel": "kittiwake", "by": "T. Arkwright", "found": "2026-03-02",
  "devices": [
    {"device": "helm", "filed": "3.1", "as_filed": true, "note": "hard to reach\r\nbehind the panel"},

    {
      "device": "radar", "serial": " R2-01187 ", "version": "v1.10", "place": "arch"
    }
  ],
  "also": [{"model": ""}, {"model": "solveld-beacon-1", "place": "under the helm"}],
  "page": [{"id": "by", "value": "T. Arkwright"}]
}`

func TestAnswersAreRead(t *testing.T) {
	got, err := record.ReadAnswers([]byte(answersText))
	require.NoError(t, err)
	assert.Equal(t, record.Answers{
		Vessel: "kittiwake", By: "T. Arkwright", Found: "2026-03-02",
		Devices: []record.AnswerDevice{
			{Device: "helm", Filed: "3.1", AsFiled: true, Note: "hard to reach\nbehind the panel", Line: 4},
			{Device: "radar", Serial: "R2-01187", Version: "v1.10", Place: "arch", Line: 6},
		},
		Also: []record.AnswerDevice{{Model: "solveld-beacon-1", Place: "under the helm", Line: 10}},
	}, got)
}

// What isn't a survey's file is refused, with its place, and quickly.
func TestOtherAnswersAreRefused(t *testing.T) {
	for text, says := range map[string]string{
		"":                                     "not JSON",
		"[1]":                                  "want object",
		strings.Repeat("[", 1<<20):             "not JSON",
		answersText + "{}":                     "something follows",
		strings.Repeat(" ", record.MaxSheet+1): "expected at most",
		strings.Replace(answersText, `"survey"`, `"order"`, 1):                                                 "/kind: found",
		strings.Replace(answersText, `"format": 1`, `"format": 2`, 1):                                          `/format: found "2", expected 1: `,
		strings.Replace(answersText, `"format": 1`, `"devices": [], "format": 1`, 1):                           "/devices: found the key twice",
		strings.Replace(answersText, `"by"`, `"Devices": [], "by"`, 1):                                         "no key 'Devices'",
		strings.Replace(answersText, `"arch"`, `"`+strings.Repeat("x", 201)+`"`, 1):                            "/devices/1/place: found",
		strings.Replace(answersText, `"as_filed": true`, `"as_filed": "yes"`, 1):                               "/devices/0/as_filed: found",
		strings.Replace(answersText, `{"model": ""}`, strings.Repeat(`{"model":""},`, 1000)+`{"model":""}`, 1): "/also: found",
	} {
		_, err := record.ReadAnswers([]byte(text))
		assert.ErrorContains(t, err, says, "%.80s", text)
	}
}

func FuzzAnswers(f *testing.F) {
	f.Add([]byte(answersText))
	f.Fuzz(func(t *testing.T, data []byte) {
		answers, err := record.ReadAnswers(data)
		if err != nil {
			return
		}
		for _, d := range append(answers.Devices, answers.Also...) {
			assert.Positive(t, d.Line)
		}
	})
}
