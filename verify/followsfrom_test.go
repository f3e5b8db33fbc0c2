package verify_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify"
)

// On another's card all that follows from its being another's is marked so: what
// is missing, and what its own record lists. Nothing else is.
func TestAnothersCard(t *testing.T) {
	drilled, all := drillScene(t)
	wanted := drilled[0]
	morvenRose := all[len(drilled)+1]
	for name, c := range map[string]struct {
		tree *node
		lead verify.Kind
	}{
		"another vessel's":        {morvenRose.tree, verify.OtherVessel},
		"another card of the set": {drilled[1].tree, verify.OtherCard},
	} {
		root := c.tree.copied()
		card, _ := build(t, root, built{})
		r := judge(card, wanted.expected)
		require.Equal(t, verify.Bad, r.Verdict, name)
		require.Equal(t, c.lead, r.Findings[0].Kind, "%s: %s", name, told(r))
		follow := 0
		for _, f := range r.Findings {
			if f.Because != "" {
				assert.Equal(t, c.lead, f.Because)
				follow++
			} else if f.Severity == verify.Stop {
				assert.Equal(t, c.lead, f.Kind, "%s: %+v", name, f)
			}
		}
		assert.Positive(t, follow, name)

		root.put("photo.jpg", []byte("x"))
		root.put("setup.exe", []byte("MZ"))
		changed := ""
		root.each(func(p string, _, k *node) {
			if changed == "" && !k.dir && len(k.content) > 600 && p != "photo.jpg" && p[0] != '_' {
				k.content, changed = flipped(k.content, 5), p
			}
		})
		card, _ = build(t, root, built{})
		r = judge(card, wanted.expected)
		for _, f := range r.Findings {
			if f.Path == "photo.jpg" || f.Path == "setup.exe" || f.Path == changed && f.Kind != verify.MissingFile {
				assert.Empty(t, f.Because, "%s: %+v", name, f)
			}
		}
		assert.Len(t, found(r, verify.Executable), 1, name)
	}
}

// A card right by its record has nothing to explain.
func TestNothingToExplain(t *testing.T) {
	s := newScene(t)
	for _, f := range judge(s.card, s.planned()).Findings {
		assert.Empty(t, f.Because)
	}
}

// A card without a record that holds another vessel's whole plan is reported as
// that vessel's, by its files; what is no package of it is judged by itself.
func TestAnothersFiles(t *testing.T) {
	shop := corpusShopWith(t, changed("vessels/skerry-light.yaml", "version: 1.6", "version: 1.5"))
	s := newStranger(t, shop, "kittiwake", corpusCard)
	s.good()
	r := judgeStranger(t, s, "skerry-light")
	assert.Equal(t, verify.Bad, r.Verdict, told(r))
	assert.Equal(t, []string{"Kittiwake"}, r.Fits())
	assert.Len(t, found(r, verify.FitsVessel), 1, told(r))
	for _, f := range r.Findings {
		if f.Severity == verify.Stop {
			assert.Equal(t, verify.FitsVessel, f.Because, "%+v", f)
		}
	}
	s.put("photo.jpg", []byte("x"))
	r = judgeStranger(t, s, "skerry-light")
	require.Len(t, found(r, verify.ExtraFile), 1, told(r))
	assert.Empty(t, found(r, verify.ExtraFile)[0].Because)
	assert.Empty(t, judgeStranger(t, s, "kittiwake").Fits(), "it is this vessel's")

	part := newStranger(t, shop, "kittiwake", corpusCard)
	part.fat32()
	part.right(sweep)
	assert.Empty(t, judgeStranger(t, part, "skerry-light").Fits(), "a plan that isn't whole names nobody")
}
