package record_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// What a card brings is only what stood on it whole, of its own steps; a bad card
// brings nothing.
func TestACardBringsWhatStoodOnItWhole(t *testing.T) {
	j := job()
	for i := range j.Plan.Steps {
		j.Plan.Steps[i].Card = 1
	}
	j.Plan.Steps[2].Card = 2
	seen := record.CardSeen{
		Shop: &manifest.Shop{Models: j.Catalogue}, Vessel: j.Vessel, Plan: j.Plan, Card: media.Card{Number: 1, Of: 2}, Target: "kittiwake.img", Bytes: 8e9,
		Report: verify.Report{
			Digest: strings.Repeat("ab", 32), Verdict: verify.Good,
			Brings:   []verify.Bring{{Step: 1, Whole: true}, {Step: 2}, {Step: 3, Whole: true}},
			Findings: []verify.Finding{{Kind: verify.NoRecord, Severity: verify.Warn}, {Kind: verify.NoRecord, Severity: verify.Warn}, {Kind: verify.ImageOnly, Severity: verify.Note}},
		},
	}
	card := seen.Kept()
	assert.Equal(t, []ledger.CardRelease{{Device: "radar", Model: "fennick-sweep-2", Version: "1.8", Maker: "Fennick"}}, card.Releases)
	assert.Equal(t, []string{string(verify.NoRecord)}, card.Findings, "each once, notes apart")
	assert.True(t, card.Foreign)
	assert.Equal(t, j.Plan.ID(), card.Plan)

	seen.Report.Verdict = verify.Bad
	assert.Empty(t, seen.Kept().Releases)
	none := record.CardSeen{Shop: seen.Shop, Plan: order.Plan{}, Target: "x", Report: verify.Report{Verdict: verify.Unchecked}}
	assert.Empty(t, none.Kept().Plan, "of no plan's card")
}

// A path that is too long is shortened to its end, which distinguishes it.
func TestATargetFitsTheLedger(t *testing.T) {
	assert.Equal(t, "kittiwake.img", record.Target("kittiwake.img"))
	long := strings.Repeat("é", ledger.MaxLine) + "/card-2.img"
	got := record.Target(long)
	assert.LessOrEqual(t, len(got), ledger.MaxLine)
	assert.True(t, utf8.ValidString(got))
	assert.True(t, strings.HasSuffix(got, "/card-2.img"))
	assert.NotContains(t, record.Target("a\x1b[2Jb"), "\x1b")
}
