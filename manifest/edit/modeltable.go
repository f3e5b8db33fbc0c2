package edit

import (
	"fmt"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
)

// ModelColumns are the columns of a table of models, named as the keys that they
// fill in.
var ModelColumns = []tables.Column{
	{Name: "model", Key: "Model.model", Must: true},
	{Name: "maker", Key: "Model.maker"},
	{Name: "name", Key: "Model.name"},
	{Name: "kind", Key: "Model.kind"},
	{Name: "card"},
	{Name: "file_systems"},
	{Name: "slot", Key: "CardRules.slot"},
	{Name: "folder", Key: "CardRules.folder"},
	{Name: "at_power_up"},
	{Name: "alone"},
	{Name: "opens_archives"},
	{Name: "route", Key: "Model.route"},
	{Name: "passes_on"},
	{Name: "on_network", Key: "Model.on_network"},
	{Name: "alike"},
	{Name: "signing_key", Key: "Model.signing_key"},
	{Name: "version_shown", Key: "Model.version_shown"},
}

// SaidInRow is what a row of a table says of its model. Lists have spaces or commas
// between their entries, on_network has strokes: makers put spaces into those.
func SaidInRow(row tables.Row) ModelSaid {
	said := ModelSaid{}
	for _, c := range ModelColumns {
		switch text := row.Get(c.Name); c.Name {
		case "file_systems", "passes_on":
			said[c.Name] = tables.Words(text)
		case "on_network":
			said[c.Name] = tables.Parts(text, "/")
		default:
			said.Say(c.Name, text)
		}
	}
	return said
}

// ModelMistakes are the mistakes in a table of models that the rules of its columns
// don't find: cells, models without a kind, and those that are listed twice.
func ModelMistakes(shop *manifest.Shop, table *tables.Table) (ms manifest.Mistakes) {
	models := shop.ModelIDs()
	for _, row := range table.Rows {
		models = append(models, row.Get("model"))
	}
	first := map[string]int{}
	for _, row := range table.Rows {
		said, id := SaidInRow(row), row.Get("model")
		for _, c := range ModelColumns {
			if m := said.Problem(c.Name, models); m != nil {
				m.At = row.At(c.Name)
				ms = append(ms, *m)
			}
		}
		if said.Text("kind") == "" && shop.Model(id) == nil {
			ms = append(ms, manifest.Mistake{At: row.At("kind"), What: "empty cell", Problem: problem.Problem{Found: "no kind", Expected: "what the device is: " + strings.Join(manifest.KindWords(), ", ")}})
		}
		if line, again := first[id]; again {
			ms = append(ms, manifest.Mistake{At: row.At("model"), What: "model given twice", Problem: problem.Problem{
				Found:    fmt.Sprintf("%q again", id),
				Expected: fmt.Sprintf("each one once; the first is in line %d", line),
			}})
			continue
		}
		first[id] = row.At("model").Line
	}
	return ms
}
