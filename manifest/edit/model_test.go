package edit_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/tables"
)

// What isn't said of a new model is as usual, its keys in their order.
func TestNewModel(t *testing.T) {
	shop := catalogue(t)
	f, err := edit.NewModel(shop, edit.ModelSaid{
		"model": {"solveld-course-3"}, "kind": {"autopilot computer"}, "card": {"4 gb - 32GB"}, "at_power_up": {"yes"},
		"alone": {"no"}, "on_network": {"COURSE 3", "A/B"}, "version_shown": {"Menu, About"},
	})
	require.NoError(t, err)
	assert.Equal(t, `# yaml-language-server: $schema=../schema/model.schema.json
model: solveld-course-3
maker: Solveld
name: Course 3
kind: autopilot computer
card:
  least: 4GB
  most: 32GB
  file_systems: [fat32]
  folder: any
  at_power_up: true
on_network: [COURSE 3, A/B]
version_shown: Menu, About
`, string(f.Bytes()))
	m := loaded(t, shop, f).Model("solveld-course-3")
	assert.True(t, m.Card.AtPowerUp)
	assert.Equal(t, []string{"COURSE 3", "A/B"}, m.OnNetwork)

	f, err = edit.NewModel(shop, edit.ModelSaid{"model": {"solveld-fix-2"}, "kind": {"heading sensor"}})
	require.NoError(t, err)
	assert.Nil(t, loaded(t, shop, f).Model("solveld-fix-2").Card, "nothing said of a card is no slot")

	var known *edit.Known
	_, err = edit.NewModel(shop, edit.ModelSaid{"model": {"fennick-plot-9"}})
	require.ErrorAs(t, err, &known)
	assert.Equal(t, edit.Known{Model: "fennick-plot-9", File: "catalogue/p9.yaml"}, *known)
	_, err = edit.NewModel(shop, edit.ModelSaid{"model": {"solveld-fix-3"}, "card": {"big"}})
	assert.ErrorContains(t, err, "expected the smallest and the largest card")
}

// What is said of a model that is there is written, key by key; all else stays.
func TestUpdateModel(t *testing.T) {
	shop := catalogue(t)
	change := func(model string, said edit.ModelSaid) string {
		t.Helper()
		f, err := edit.UpdateModel(shop, shop.Model(model), said)
		require.NoError(t, err)
		_, err = edit.Check(shop.Dir, f)
		require.NoError(t, err)
		return string(f.Bytes())
	}
	head := "model: fennick-plot-9\nmaker: Fennick\nname: Plot 9\nkind: chart display\n"
	assert.Equal(t, head+"card: {least: 8GB, most: 32GB, file_systems: [exfat], slot: microSD, folder: any, alone: true}\npasses_on: [solveld-helm-1]\n",
		change("fennick-plot-9", edit.ModelSaid{"card": {"8GB-32GB"}, "file_systems": {"exfat"}, "slot": {"microSD"}, "alone": {"yes"}, "at_power_up": {"no"}, "passes_on": {"solveld-helm-1"}}))
	assert.Equal(t, head+"passes_on: [fennick-sweep-2]\n", change("fennick-plot-9", edit.ModelSaid{"card": {edit.NoCard}}))
	assert.Equal(t, "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep Two\nkind: radar\nalike: true\ncard:\n  least: 4GB\n  most: 8GB\n  file_systems: [fat32]\n  folder: any\nsigning_key: "+publicKey+"\n",
		change("fennick-sweep-2", edit.ModelSaid{"name": {"Sweep Two"}, "card": {"4GB-8GB"}, "alike": {"yes"}, "signing_key": {publicKey}}))
	assert.Equal(t, head+"card: {least: 4GB, most: 32GB, file_systems: [fat32], folder: any}\npasses_on: [fennick-sweep-2]\n", change("fennick-plot-9", nil))

	shop.Model("fennick-plot-9").SigningKey = publicKey
	_, err := edit.UpdateModel(shop, shop.Model("fennick-plot-9"), edit.ModelSaid{"signing_key": {"RWother"}})
	assert.ErrorIs(t, err, edit.ErrOtherKey)

	f, err := edit.PassOn(shop, shop.Model("fennick-plot-9"), "solveld-fix-2")
	require.NoError(t, err)
	assert.Contains(t, string(f.Bytes()), "passes_on: [fennick-sweep-2, solveld-fix-2]")
}

// A public key of the form that minisign documents (jedisct1.github.io/minisign).
const publicKey = "RWQf6LRCGA9i53mlYecO4IzT51TGPpvWucNSCh1CBM0QTaLn73Y7GFO3"

// A row says what its cells do; what isn't allowed in them is reported with its place, all
// at once, whatever the columns' own rules let pass.
func TestModelTable(t *testing.T) {
	shop := catalogue(t)
	read := func(text string) *tables.Table {
		t.Helper()
		table, err := tables.Read("m.csv", []byte(text), edit.ModelColumns)
		require.NoError(t, err)
		return table
	}
	table := read("model,kind,card,passes_on,on_network,alike\nsolveld-fix-2,heading sensor,4GB-32GB,\"fennick-sweep-2, solveld-fix-3\",FIX 2 / FIX 2B,Yes\nsolveld-fix-3,other,none,,,\n")
	assert.Empty(t, edit.ModelMistakes(shop, table), "a model of the same table may be passed on")
	assert.Equal(t, edit.ModelSaid{
		"model": {"solveld-fix-2"}, "kind": {"heading sensor"}, "card": {"4GB-32GB"}, "file_systems": {}, "alike": {"Yes"},
		"passes_on": {"fennick-sweep-2", "solveld-fix-3"}, "on_network": {"FIX 2", "FIX 2B"},
	}, normal(edit.SaidInRow(table.Rows[0])))

	ms := edit.ModelMistakes(shop, read("model,kind,card,passes_on,file_systems,alone\nsolveld-fix-2,,32GB-4GB,fennick-sweep-3,fat99,perhaps\nfennick-plot-9,,,,,\nsolveld-fix-2,other,,,,\n"))
	var told []string
	for _, m := range ms {
		told = append(told, m.At.String()+" "+m.What)
	}
	assert.Equal(t, []string{
		"m.csv:2:16 not the sizes of cards", "m.csv:2:41 unknown word", "m.csv:2:47 unknown word", "m.csv:2:25 no such model",
		"m.csv:2:15 empty cell", "m.csv:4:1 model given twice",
	}, told, "a model that is there needs no kind")
	assert.Equal(t, "fennick-sweep-2", manifest.Nearest("fennick-sweep-3", shop.ModelIDs()))
}

func normal(said edit.ModelSaid) edit.ModelSaid {
	for key, all := range said {
		if len(all) == 0 {
			said[key] = []string{}
		}
	}
	return said
}
