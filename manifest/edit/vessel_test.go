package edit_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/tables"
)

// catalogue is a shop of a few models: two with slots that pass packages on, two
// without, one of them updated by cable.
func catalogue(t *testing.T) *manifest.Shop {
	t.Helper()
	dir := t.TempDir()
	card := "card: {least: 4GB, most: 32GB, file_systems: [fat32], folder: any}\n"
	for name, text := range map[string]string{
		"shop.yaml":           "shop: Hollin Quay Marine Electrics\n",
		"catalogue/p12.yaml":  "model: fennick-plot-12\nmaker: Fennick\nname: Plot 12\nkind: chart display\n" + card + "passes_on: [fennick-sweep-2, fennick-plot-9]\n",
		"catalogue/p9.yaml":   "model: fennick-plot-9\nmaker: Fennick\nname: Plot 9\nkind: chart display\n" + card + "passes_on: [fennick-sweep-2]\n",
		"catalogue/s2.yaml":   "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep 2\nkind: radar\n",
		"catalogue/helm.yaml": "model: solveld-helm-1\nmaker: Solveld\nname: Helm 1\nkind: instrument\nroute: cable\n",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	return shop
}

// loaded is a shop with a file as the loader reads it.
func loaded(t *testing.T, shop *manifest.Shop, f *edit.File) *manifest.Shop {
	t.Helper()
	require.NoError(t, edit.Save(shop.Dir, f))
	now, err := manifest.Load(shop.Dir)
	require.NoError(t, err)
	return now
}

func idsOf(v *manifest.Vessel) (ids []string) {
	for _, d := range v.Devices {
		ids = append(ids, d.ID)
	}
	return ids
}

// A device that nobody named is called by its place, or by what it is where several
// stand there; no two by one name.
func TestDevicesGetIDs(t *testing.T) {
	for _, c := range []struct {
		name    string
		devices []edit.NewDevice
		ids     []string
	}{
		{"place", []edit.NewDevice{{Model: "fennick-plot-12", Place: "Lower Helm"}}, []string{"lower-helm"}},
		{"several in a place", []edit.NewDevice{{Model: "fennick-plot-12", Place: "arch"}, {Model: "fennick-sweep-2", Place: "Arch"}}, []string{"display", "radar"}},
		{"no place", []edit.NewDevice{{Model: "fennick-plot-12"}, {Model: "fennick-plot-9"}}, []string{"display", "display-2"}},
		{"given ones stay", []edit.NewDevice{{Model: "fennick-plot-9"}, {Model: "fennick-plot-12", ID: "display"}}, []string{"display-2", "display"}},
		{"no letters", []edit.NewDevice{{Model: "solveld-helm-1", Place: "舵"}}, []string{"instrument"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			shop := catalogue(t)
			f, err := edit.NewVessel{ID: "kittiwake", Name: "Kittiwake", Devices: c.devices}.File(shop)
			require.NoError(t, err)
			assert.Equal(t, c.ids, idsOf(loaded(t, shop, f).Vessel("kittiwake")))
		})
	}
}

// A device without a slot is updated through those aboard that can, and that a card
// reaches; nothing is made up for one that a route or a person says otherwise of.
func TestDevicesWithoutASlotFindTheirHosts(t *testing.T) {
	shop := catalogue(t)
	f, err := edit.NewVessel{ID: "kittiwake", Name: "Kittiwake", Hull: "HQ 1", Devices: []edit.NewDevice{
		{ID: "fly", Model: "fennick-plot-12", Version: "v4.10"},
		{ID: "mate", Model: "fennick-plot-9", Through: []string{"fly"}},
		{ID: "radar", Model: "fennick-sweep-2"},
		{ID: "mast", Model: "fennick-sweep-2", Through: []string{"fly"}},
		{ID: "wheel", Model: "solveld-helm-1"},
	}}.File(shop)
	require.NoError(t, err)
	v := loaded(t, shop, f).Vessel("kittiwake")
	assert.Equal(t, []string{"fly"}, v.Device("radar").Through, "the mate is itself updated through another")
	assert.Equal(t, []string{"fly"}, v.Device("mast").Through)
	assert.Empty(t, v.Device("wheel").Through)
	assert.EqualValues(t, "4.10", v.Device("fly").Version, "without the guard of a spreadsheet")
	assert.EqualValues(t, "unknown", v.Device("radar").Version)
	assert.Equal(t, "HQ 1", v.Identity.Hull)

	unknown := []edit.NewDevice{{Model: "fennick-plot-8"}}
	assert.Equal(t, unknown, edit.UnknownModels(shop, append(unknown, edit.NewDevice{Model: "fennick-plot-9"})))
	_, err = edit.NewVessel{ID: "x", Name: "X", Devices: unknown}.File(shop)
	assert.ErrorContains(t, err, `no model "fennick-plot-8"`)
}

// Devices are put in behind the others, changed in place, and taken out of
// the list and of the ways of others.
func TestDevicesOfAFileThatIsThere(t *testing.T) {
	shop := catalogue(t)
	text := "vessel: kittiwake # ours\nname: Kittiwake\ndevices:\n  # the big one\n  - {id: fly, model: fennick-plot-12, version: 3.0}\n  - {id: helm, model: fennick-plot-9, version: 3.1}\n  - {id: radar, model: fennick-sweep-2, version: 1.6, through: [fly, helm]}\n"
	require.NoError(t, os.MkdirAll(filepath.Join(shop.Dir, "vessels"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(shop.Dir, "vessels", "k.yaml"), []byte(text), 0o644))
	shop, err := manifest.Load(shop.Dir)
	require.NoError(t, err)

	f, shop, v, err := edit.OpenVessel(shop.Dir, shop.Vessel("kittiwake"))
	require.NoError(t, err)
	require.NoError(t, edit.SetDevice(f, v, "helm", "serial", "00231"))
	added, err := edit.AddDevices(f, shop, v, []edit.NewDevice{{Model: "fennick-sweep-2", Place: "mast"}})
	require.NoError(t, err)
	assert.Equal(t, "mast", added[0].ID)
	require.NoError(t, edit.RemoveDevices(f, v, []string{"fly"}))
	assert.Equal(t, "vessel: kittiwake # ours\nname: Kittiwake\ndevices:\n  # the big one\n  - {id: helm, model: fennick-plot-9, serial: \"00231\", version: 3.1}\n"+
		"  - {id: radar, model: fennick-sweep-2, version: 1.6, through: [helm]}\n  - {id: mast, model: fennick-sweep-2, place: mast, version: unknown, through: [fly, helm]}\n", string(f.Bytes()))
	assert.ErrorContains(t, edit.SetDevice(f, v, "pilot", "serial", "1"), "no device pilot")
	_, err = edit.AddDevices(f, shop, v, []edit.NewDevice{{Model: "fennick-plot-8"}})
	assert.ErrorContains(t, err, `no model "fennick-plot-8"`)
}

func TestDeviceTable(t *testing.T) {
	table, err := tables.Read("d.csv", []byte("model,id,through,hold,hold_why\nfennick-sweep-2,radar,fly helm,<= 1.6,asked\n"), edit.DeviceColumns)
	require.NoError(t, err)
	assert.Equal(t, edit.NewDevice{
		At: manifest.Pos{File: "d.csv", Line: 2, Column: 1}, ID: "radar", Model: "fennick-sweep-2",
		Through: []string{"fly", "helm"}, Hold: "<= 1.6", HoldWhy: "asked",
	}, edit.DeviceInRow(table.Rows[0]))
}
