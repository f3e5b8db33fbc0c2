package manifest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
)

const (
	soundShop  = "shop: Hollin Quay Marine Electrics\n"
	soundPlot  = "model: fennick-plot-9\nmaker: Fennick\nname: Plot 9\nkind: chart display\ncard: {least: 4GB, most: 32GB, file_systems: [fat32], folder: any}\nreleases: []\n"
	soundRadar = "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep 2\nkind: radar\ncard: {least: 4GB, most: 32GB, file_systems: [fat32], folder: any}\nreleases: []\n"
	kittiwake  = "vessel: kittiwake\nname: Kittiwake\ndevices:\n  - {id: helm, model: fennick-plot-9, version: 3.1}\n"
	morvenRose = "vessel: morven-rose\nname: Morven Rose\ndevices:\n  - {id: radar, model: fennick-sweep-2, version: 1.6}\n"
)

// A mistake in what doesn't concern a vessel is reported and stops nothing; one in what
// concerns it, or of which nobody can say that it doesn't, does.
func TestLoadForStopsAtWhatConcernsTheVessel(t *testing.T) {
	for _, c := range []struct {
		name, file, text string
		stops            bool
	}{
		{"nothing", "", "", false},
		{"another's file", "vessels/morven-rose.yaml", strings.Replace(morvenRose, "name:", "nmae:", 1), false},
		{"another's file isn't YAML", "vessels/morven-rose.yaml", "vessel: [", false},
		{"another's device of no model", "vessels/morven-rose.yaml", strings.Replace(morvenRose, "sweep-2", "sweep-7", 1), false},
		{"a model that isn't aboard", "catalogue/sweep.yaml", strings.Replace(soundRadar, "kind: radar", "kind: rader", 1), false},
		{"a model without an id", "catalogue/sweep.yaml", "maker: Fennick\n", false},
		{"its own file", "vessels/kittiwake.yaml", strings.Replace(kittiwake, "name:", "nmae:", 1), true},
		{"its own file isn't YAML", "vessels/kittiwake.yaml", "vessel: [", true},
		{"its device's model", "catalogue/plot.yaml", strings.Replace(soundPlot, "chart display", "chart dipslay", 1), true},
		{"its device's model isn't there", "catalogue/plot.yaml", strings.Replace(soundPlot, "plot-9", "plot-8", 1), true},
		{"its model twice", "catalogue/plot-too.yaml", soundPlot, true},
		{"its id twice", "vessels/zz.yaml", kittiwake, true},
		{"shop.yaml", "shop.yaml", soundShop + "ledgre: x\n", true},
		{"a file that would be ignored", "vessels/old.yml", morvenRose, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			files := map[string]string{
				"shop.yaml": soundShop, "catalogue/plot.yaml": soundPlot, "catalogue/sweep.yaml": soundRadar,
				"vessels/kittiwake.yaml": kittiwake, "vessels/morven-rose.yaml": morvenRose,
			}
			if c.file != "" {
				files[c.file] = c.text
			}
			for name, text := range files {
				path := filepath.Join(dir, name)
				require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
				require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
			}
			shop, elsewhere, err := manifest.LoadFor(dir, "kittiwake", nil)
			if c.stops {
				var ms manifest.Mistakes
				require.ErrorAs(t, err, &ms)
				return
			}
			_, _, byName := manifest.LoadFor(dir, "KITTIWAKE", nil)
			require.NoError(t, byName)
			require.NoError(t, err)
			require.NotNil(t, shop.Vessel("kittiwake"))
			require.Equal(t, c.file != "", len(elsewhere) > 0, "%v", elsewhere)
			for _, v := range shop.Vessels {
				for _, d := range v.Devices {
					require.NotNil(t, shop.Model(d.Model))
				}
			}
		})
	}
}
