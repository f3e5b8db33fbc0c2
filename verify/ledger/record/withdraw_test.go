package record_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
)

// shopWith is a shop folder with one model, whose releases are these lines.
func shopWith(t *testing.T, releases ...string) *manifest.Shop {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"shop.yaml": "shop: Hollin Quay\n",
		"catalogue/fennick-sweep-2.yaml": "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep 2\nkind: radar\ncard: {least: 4GB, most: 32GB, file_systems: [fat32], slot: microSD, folder: any}\nreleases:\n" +
			strings.Join(releases, ""),
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "vessels"), 0o755))
	return reload(t, dir)
}

func reload(t *testing.T, dir string) *manifest.Shop {
	t.Helper()
	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	return shop
}

func withdrawnNow(shop *manifest.Shop) (list []string) {
	for _, r := range shop.Models[0].Releases {
		list = append(list, string(r.Version)+": "+r.Withdrawn)
	}
	return list
}

// The catalogue follows the ledger, and nothing that was written there by hand is
// overwritten or taken out.
func TestTheCatalogueFollowsWithdrawals(t *testing.T) {
	release := func(version, withdrawn string) string {
		text := "  - version: \"" + version + "\"\n    released: 2026-02-10 # as the maker says\n"
		if withdrawn != "" {
			text += "    withdrawn: " + withdrawn + "\n"
		}
		return text
	}
	shop := shopWith(t, release("1.6", ""), release("1.8", "by hand"), release("1.9", "burns"), release("1.10", "by hand, too"))
	w := record.Withdrawals{
		Standing: known.Withdrawals{{Model: "fennick-sweep-2", Version: "1.6", Why: "loses targets"}, {Model: "fennick-sweep-2", Version: "1.8", Why: "otherwise said"}},
		Lifted:   known.Withdrawals{{Model: "fennick-sweep-2", Version: "1.9", Why: "burns"}, {Model: "fennick-sweep-2", Version: "1.10", Why: "something else"}},
	}
	files, err := w.Follow(shop)
	require.NoError(t, err)
	assert.Equal(t, []string{"catalogue/fennick-sweep-2.yaml"}, files)
	shop = reload(t, shop.Dir)
	assert.Equal(t, []string{"1.6: loses targets", "1.8: by hand", "1.9: ", "1.10: by hand, too"}, withdrawnNow(shop))
	text, err := os.ReadFile(filepath.Join(shop.Dir, "catalogue", "fennick-sweep-2.yaml"))
	require.NoError(t, err)
	assert.Equal(t, 4, strings.Count(string(text), "# as the maker says"), "comments stay")

	files, err = w.Follow(shop)
	require.NoError(t, err)
	assert.Empty(t, files, "it says so already")

	lift := ledger.Withdrawal{Model: "fennick-sweep-2", Version: "1.8"}
	assert.True(t, record.WithdrawnInCatalogue(shop, lift))
	_, err = record.LiftInCatalogue(shop, lift)
	require.NoError(t, err)
	shop = reload(t, shop.Dir)
	assert.False(t, record.WithdrawnInCatalogue(shop, lift))
	assert.Equal(t, "1.6: loses targets", withdrawnNow(shop)[0], "no other release")
}

// Lifting takes back every withdrawal of the release, of all variants where none
// is named, and counts after the clock that noted it.
func TestLiftingTakesBackEveryWithdrawal(t *testing.T) {
	ahead := noon.AddDate(1, 0, 0)
	w := record.Withdrawals{Standing: known.Withdrawals{
		{Model: "fennick-sweep-2", Version: "1.8", Told: noon.Add(-time.Hour)},
		{Model: "fennick-sweep-2", Version: "1.8", Variant: "eu", Told: ahead},
		{Model: "fennick-sweep-2", Version: "1.9"},
		{Model: "fennick-plot-9", Version: "1.8"},
	}}
	all := w.Lift(ledger.Withdrawal{Model: "fennick-sweep-2", Version: "1.8"}, "tested", noon)
	require.Len(t, all, 2)
	assert.Equal(t, noon, all[0].At)
	assert.True(t, all[1].At.After(ahead))
	assert.Equal(t, "tested", all[0].Correction.Why)
	assert.Len(t, w.Lift(ledger.Withdrawal{Model: "fennick-sweep-2", Version: "1.8", Variant: "eu"}, "tested", noon), 1)
}
