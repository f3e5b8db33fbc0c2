package verify_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// orderText is an install order in the words of no edition that there is.
func orderText(steps []order.Step) string {
	var b strings.Builder
	b.WriteString("AN ORDER\nNothing is proven by it.\n\n")
	for _, s := range steps {
		fmt.Fprintf(&b, "[ ] DO %d %s (a model)\n    Of what: %s → %s\n    In %s\n", s.Number, s.Device, s.From, s.To, s.Folder)
		for _, f := range s.Files {
			fmt.Fprintf(&b, "    Touch %s (%d bytes)\n", f.Name, f.Size)
		}
	}
	return b.String()
}

// An unsigned card's order may be in other words if it says the plan's steps;
// with any other step, device, version, folder, file or order of steps it isn't
// the plan's, though the record on the card names it.
func TestUnsignedInstallOrderInOtherWords(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	_, plan := shop.Lay(shoptest.Small)
	steps := plan.Steps
	require.Greater(t, len(steps), 2)
	changed := func(change func([]order.Step) []order.Step) string {
		return orderText(change(slices.Clone(steps)))
	}
	for name, c := range map[string]struct {
		text    string
		verdict verify.Verdict
	}{
		"other words":    {orderText(steps), verify.Good},
		"no steps":       {"install everything", verify.Bad},
		"nothing at all": {"", verify.Bad},
		"swapped steps": {changed(func(s []order.Step) []order.Step {
			s[0], s[1] = s[1], s[0]
			return s
		}), verify.Bad},
		"a step less":     {changed(func(s []order.Step) []order.Step { return s[1:] }), verify.Bad},
		"a step more":     {changed(func(s []order.Step) []order.Step { return append(s, s[0]) }), verify.Bad},
		"another device":  {changed(func(s []order.Step) []order.Step { s[0].Device = "elsewhere"; return s }), verify.Bad},
		"another version": {changed(func(s []order.Step) []order.Step { s[1].To += "1"; return s }), verify.Bad},
		"another before":  {changed(func(s []order.Step) []order.Step { s[1].From = "9" + s[1].From; return s }), verify.Bad},
		"another folder":  {changed(func(s []order.Step) []order.Step { s[0].Folder = "elsewhere"; return s }), verify.Bad},
		"another file": {changed(func(s []order.Step) []order.Step {
			s[0].Files = []digest.File{{Name: "other.bin"}}
			return s
		}), verify.Bad},
	} {
		t.Run(name, func(t *testing.T) {
			r := judgeWithOrder(t, shop, plan, c.text)
			assert.Equal(t, c.verdict, r.Verdict, told(r))
			if c.verdict == verify.Good {
				f := found(r, verify.OtherWording)
				require.Len(t, f, 1)
				assert.Equal(t, verify.Warn, f[0].Severity)
				assert.Contains(t, f[0].Advice, ": ORDER")
			} else {
				assert.NotEmpty(t, found(r, verify.OrderAltered), told(r))
			}
		})
	}
}

// Where the catalogue says which files a person touches, an order leaves the
// others out: a card with such an order, made by an earlier edition, is good.
func TestInstallOrderThatNamesOnlyFilesToTouch(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	_, plan := shop.Lay(shoptest.Small)
	release := shop.Shop.Model("fennick-plot-12").Release("4.0-12", "")
	release.Touch = []string{"plot12.upd"}
	steps := slices.Clone(plan.Steps)
	i := slices.IndexFunc(steps, func(s order.Step) bool { return s.Device == "flybridge" })
	require.Len(t, steps[i].Files, 2)
	steps[i].Files = steps[i].Files[:1]
	for name, c := range map[string]struct {
		text    string
		verdict verify.Verdict
	}{
		"the file to touch": {orderText(steps), verify.Good},
		"all files":         {orderText(plan.Steps), verify.Good},
		"another file": {func() string {
			steps := slices.Clone(steps)
			steps[i].Files = []digest.File{{Name: "notes.txt"}}
			return orderText(steps)
		}(), verify.Bad},
	} {
		t.Run(name, func(t *testing.T) {
			r := judgeWithOrder(t, shop, plan, c.text)
			assert.Equal(t, c.verdict, r.Verdict, told(r))
		})
	}
}

// An order that the card's record doesn't name was put there afterwards,
// whatever it says.
func TestInstallOrderThatTheRecordDoesntName(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	_, plan := shop.Lay(shoptest.Small)
	s := sceneOf(t, shop, 1, shoptest.Small)
	dir := hand(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ours.txt"), []byte(orderText(plan.Steps)), 0o600))
	e := s.planned()
	e.Aboard = &verify.Aboard{Shop: shop.Shop, Vessel: shop.Vessel, Plan: plan, Card: 1}
	r := judge(s.byHand(dir, []string{"mcopy", "-o", "ours.txt", "::_card/install-order.txt"}), e)
	assert.Equal(t, verify.Bad, r.Verdict, told(r))
	assert.NotEmpty(t, found(r, verify.OrderAltered))
}

// A card of a newer build is neither good nor altered: it can't be judged here.
func TestRecordOfANewerBuild(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	s := sceneOf(t, shop, 1, shoptest.Small)
	var record map[string]any
	require.NoError(t, json.Unmarshal([]byte(contentOf(t, s, media.RecordPath)), &record))
	record["format"], record["came_later"] = media.NewestRecordFormat+1, "something"
	text, err := json.Marshal(record)
	require.NoError(t, err)
	dir := hand(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "newer.json"), text, 0o600))
	card := s.byHand(dir, []string{"mcopy", "-o", "newer.json", "::_card/record.json"})
	for _, e := range []*verify.Expected{s.planned(), {FromRecord: true}} {
		r := judge(card, e)
		assert.Equal(t, verify.Unchecked, r.Verdict, told(r))
		f := found(r, verify.NewerRecord)
		require.Len(t, f, 1, told(r))
		assert.Contains(t, f[0].Found, "a newer cardwright made it")
		assert.Empty(t, found(r, verify.RecordAltered), told(r))
	}
}

// judgeWithOrder judges a card whose install order is another text than today's.
func judgeWithOrder(t *testing.T, shop *shoptest.Shop, plan order.Plan, text string) verify.Report {
	s := &scene{t: t, shop: shop, job: shop.Job(1, shoptest.Small)}
	today := s.job.InstallOrder
	s.job.InstallOrder = []byte(text)
	s.write(shoptest.Small)
	e := s.planned()
	e.Record.InstallOrder = media.NewRecordFile(media.InstallOrderPath, today)
	e.Aboard = &verify.Aboard{Shop: shop.Shop, Vessel: shop.Vessel, Plan: plan, Card: 1}
	e.Commands = corpusCommands
	return judge(s.card, e)
}
