package verify_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

func foreign(g verify.Listing) (paths []string) {
	for _, f := range g.Foreign {
		paths = append(paths, f.Path)
	}
	return paths
}

// What would be lost with a card: nothing of ours, everything else.
func TestGlance(t *testing.T) {
	s := newScene(t)
	dir := hand(t)
	text, err := s.outcome.Record.Encode()
	require.NoError(t, err)
	record, err := media.DecodeRecord(text)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		card    mediatest.Medium
		ours    bool
		foreign []string
	}{
		"ours":                {s.card, true, nil},
		"blank":               {mediatest.NewMemory(shoptest.Small), false, nil},
		"ours, with a photo":  {s.byHand(dir, []string{"mcopy", "photo.jpg", "::01-flybridge/photo.jpg"}), true, []string{"01-flybridge/photo.jpg"}},
		"a file of our name":  {s.byHand(dir, []string{"mcopy", "-o", "photo.jpg", "::" + plot}), true, []string{plot}},
		"a note by us":        {s.byHand(dir, []string{"mcopy", "-o", "order.txt", "::_card/install-order.txt"}), true, []string{"_card/install-order.txt"}},
		"beside our record":   {s.byHand(dir, []string{"mcopy", "order.txt", "::_card/notes.txt"}), true, []string{"_card/notes.txt"}},
		"the record damaged":  {s.byHand(dir, []string{"mcopy", "-o", "order.txt", "::_card/record.json"}), false, allFiles(s)},
		"the record too long": {s.byHand(dir, []string{"mcopy", "-o", "big.bin", "::_card/record.json"}), false, allFiles(s)},
	} {
		g := verify.List(c.card, c.card.Bytes())
		assert.Equal(t, c.ours, g.Record != nil, name)
		assert.ElementsMatch(t, c.foreign, foreign(g), name)
		assert.False(t, g.Unread, name)
		if c.ours {
			assert.Equal(t, record, *g.Record, name)
			assert.Equal(t, "FAT32", g.FileSystem)
			assert.Equal(t, "KITTIWAKE", g.Label)
		}
	}
	g := verify.List(s.card, s.card.Bytes())
	var bytes int64
	for _, f := range s.layout.Files() {
		bytes += f.Size
	}
	assert.Equal(t, bytes, g.FileBytes())
	assert.ElementsMatch(t, []string{"01-flybridge", "02-radar", "03-pilot", "_card"}, g.Root)
}

func allFiles(s *scene) (paths []string) {
	for _, f := range s.layout.Files() {
		paths = append(paths, f.Path)
	}
	return paths
}

// A card of which a part can't be read may hold more than what is seen.
func TestGlanceAtAFailingCard(t *testing.T) {
	s := newScene(t)
	g := s.layout.Geometry()
	for _, at := range []int64{0, g.PartitionOffset(), g.DataOffset()} {
		assert.True(t, verify.List(mediatest.ReadError(s.card, at, errBroken), s.card.Bytes()).Unread, "%d", at)
	}
}

func TestGlanceAtAFolder(t *testing.T) {
	s, dir := newScene(t), t.TempDir()
	require.NoError(t, s.job.WriteFolder(t.Context(), media.FolderTarget{Dir: dir, Judge: acceptFolder}).Err)
	g := verify.ListFolder(dir)
	require.NotNil(t, g.Record)
	assert.Empty(t, g.Foreign)
	assert.False(t, g.Unread)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "photo.jpg"), []byte("x"), 0o600))
	assert.Equal(t, []string{"photo.jpg"}, foreign(verify.ListFolder(dir)))
	assert.True(t, verify.ListFolder(filepath.Join(dir, "none")).Unread)
}

// Of a set, the card at hand is chosen by its record where that is for this
// plan, else by its files; where nothing fits, the first.
func TestChoose(t *testing.T) {
	shop := shoptest.New(t, t.TempDir())
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	for i, id := range []string{"flybridge", "helm", "mate"} {
		shop.Device(id, "fennick-plot-12")
		shop.Step(id, fmt.Sprint("4.0-", i), "", shoptest.Make("plot12.upd", 15<<20, byte(i)))
	}
	layout, _ := shop.Lay(44 << 20)
	require.Len(t, layout.Cards, 2)
	dir := hand(t)
	for n := range layout.Cards {
		s := sceneOf(t, shop, n+1, 44<<20)
		stranger := s.byHand(dir, []string{"mdeltree", "::_card"})
		altered := s.byHand(dir, []string{"mcopy", "-o", "order.txt", "::_card/record.json"})
		for _, m := range []mediatest.Medium{s.card, stranger, altered} {
			card, ok := verify.Choose(layout, verify.List(m, m.Bytes()))
			require.True(t, ok)
			assert.Equal(t, n+1, card.Number)
		}
		folder := t.TempDir()
		require.NoError(t, s.job.WriteFolder(t.Context(), media.FolderTarget{Dir: folder, Judge: acceptFolder}).Err)
		card, ok := verify.Choose(layout, verify.ListFolder(folder))
		require.True(t, ok)
		assert.Equal(t, n+1, card.Number)
	}
	blank := mediatest.NewMemory(shoptest.Small)
	card, ok := verify.Choose(layout, verify.List(blank, blank.Bytes()))
	assert.True(t, ok)
	assert.Equal(t, 1, card.Number)
	_, ok = verify.Choose(media.Layout{}, verify.List(blank, blank.Bytes()))
	assert.False(t, ok)
}
