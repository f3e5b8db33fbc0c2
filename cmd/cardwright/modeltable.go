package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
)

var modelColumns = []tables.Column{
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

// modelSaid is what is said of a model, by the name of the column.
type modelSaid map[string]string

// saidByFlags are the flags that were given, under the names of the columns.
func saidByFlags(cmd *cobra.Command) modelSaid {
	given := modelSaid{}
	for _, c := range modelColumns {
		name := flagOf(c.Name)
		switch all, err := cmd.Flags().GetStringSlice(name); {
		case !cmd.Flags().Changed(name):
		case err == nil && c.Name == "on_network":
			given[c.Name] = strings.Join(all, " / ")
		case err == nil:
			given[c.Name] = strings.Join(all, " ")
		default:
			given[c.Name] = cmd.Flags().Lookup(name).Value.String()
		}
	}
	return given
}

func flagOf(column string) string {
	return strings.ReplaceAll(column, "_", "-")
}

// saidIn are the filled cells of a row.
func saidIn(row tables.Row) modelSaid {
	given := modelSaid{}
	for _, c := range modelColumns {
		if text := row.Get(c.Name); text != "" {
			given[c.Name] = text
		}
	}
	return given
}

// flag is a value of yes or no.
func flag(text string) (value, ok bool) {
	switch strings.ToLower(text) {
	case "", "no", "n", "false":
		return false, true
	case "yes", "y", "true":
		return true, true
	}
	return false, false
}

// is reads a value that problem has checked.
func (g modelSaid) is(column string) bool {
	value, _ := flag(g[column])
	return value
}

// modelFlags are the columns of yes or no.
var modelFlags = []string{"at_power_up", "alone", "opens_archives", "alike"}

// problem says what can't stand in a column, where the column's own rule doesn't.
func (g modelSaid) problem(column string, models []string) *manifest.Mistake {
	text := g[column]
	switch {
	case text == "":
	case slices.Contains(modelFlags, column):
		if _, ok := flag(text); !ok {
			return &manifest.Mistake{What: "unknown word", Problem: problem.Problem{Found: fmt.Sprintf("%q", text), Expected: "yes or no"}}
		}
	case column == "card" && text != noCard:
		if _, _, err := manifest.SizesAsTyped(text); err != nil {
			return &manifest.Mistake{What: "not the sizes of cards", Problem: problem.Problem{Found: err.Error(), Expected: expectedCard}}
		}
	case column == "file_systems":
		for _, w := range listed(text) {
			if m := manifest.Problem("CardRules.file_systems", w); m != nil {
				return m
			}
		}
	case column == "passes_on":
		for _, id := range listed(text) {
			if !slices.Contains(models, id) {
				return &manifest.Mistake{What: "no such model", Problem: problem.Problem{Found: fmt.Sprintf("%q", id), Expected: "ids of models in the catalogue or in this table, with spaces between them", Advice: manifest.Nearest(id, models)}}
			}
		}
	}
	return nil
}

// listed are the words of a cell, with spaces or commas between them.
func listed(text string) []string { return strings.Fields(strings.ReplaceAll(text, ",", " ")) }

// modelsFrom are the files of the models in a table, and how many of them were
// there. Every row is looked at before anything is said.
func modelsFrom(shop *manifest.Shop, o modelOptions, args []string) (files []*edit.File, changed int, err error) {
	if len(args) > 0 {
		return nil, 0, usage(fmt.Errorf("either ID or --from TABLE, not both"))
	}
	table, err := readTable(o.from, modelColumns)
	if err != nil && mistakes(err) == nil {
		return nil, 0, err
	}
	ms := append(mistakes(err), twice(table)...)
	models := modelIDs(shop)
	for _, row := range table.Rows {
		models = append(models, row.Get("model"))
	}
	for _, row := range table.Rows {
		ms = append(ms, rowProblems(shop, row, models)...)
	}
	if ms != nil {
		return nil, 0, mistakesIn(o.from, inOrder(ms))
	}
	for _, row := range table.Rows {
		id := row.Get("model")
		m := shop.Model(id)
		if m != nil && !o.update {
			return nil, 0, fmt.Errorf("%s: the catalogue has %s already, in %s: nothing was written; --update changes it", row.At("model"), id, m.At("").File)
		}
		var file *edit.File
		if m != nil {
			changed++
			file, err = updatedModel(shop.Dir, m, saidIn(row))
		} else {
			file, err = modelIn(row).file(shop.Dir, id)
		}
		if err != nil {
			return nil, 0, fmt.Errorf("%s: %w", row.At("model"), err)
		}
		files = append(files, file)
	}
	return files, changed, nil
}

// rowProblems are the mistakes of a row that the columns' own rules don't tell.
func rowProblems(shop *manifest.Shop, row tables.Row, models []string) (ms manifest.Mistakes) {
	given := saidIn(row)
	for _, c := range modelColumns {
		if m := given.problem(c.Name, models); m != nil {
			m.At = row.At(c.Name)
			ms = append(ms, *m)
		}
	}
	if given["kind"] == "" && shop.Model(given["model"]) == nil {
		ms = append(ms, manifest.Mistake{At: row.At("kind"), What: "empty cell", Problem: problem.Problem{Found: "no kind", Expected: "what the device is: " + strings.Join(kinds(), ", ")}})
	}
	return ms
}

// modelIn is the model of a row, with what is usual where the row is silent.
func modelIn(row tables.Row) *modelOptions {
	g, id := saidIn(row), row.Get("model")
	return &modelOptions{
		maker: or(g["maker"], makerOf(id)), name: or(g["name"], nameOf(id)), kind: g["kind"],
		card: or(g["card"], noCard), fileSystems: or(g["file_systems"], "fat32"), slot: g["slot"],
		folder: or(g["folder"], manifest.AnyFolder), route: g["route"], passesOn: listed(g["passes_on"]), onNetwork: split(g["on_network"], "/"),
		atPowerUp: g.is("at_power_up"), alone: g.is("alone"), opensArchives: g.is("opens_archives"), alike: g.is("alike"),
		signingKey: g["signing_key"], versionShown: g["version_shown"],
	}
}

// updated are the files that change when flags say more of one model.
func (o *modelOptions) updated(shop *manifest.Shop, args []string) ([]*edit.File, error) {
	if len(args) == 0 {
		return nil, usage(fmt.Errorf("say which model is to be changed: cardwright model add ID --update"))
	}
	m := shop.Model(args[0])
	if m == nil {
		return nil, usage(fmt.Errorf("no model %q in the catalogue to change%s", args[0], tryIt(manifest.Nearest(args[0], modelIDs(shop)))))
	}
	for _, c := range modelColumns {
		p := o.given.problem(c.Name, modelIDs(shop))
		if text := o.given[c.Name]; p == nil && text != "" && c.Key != "" {
			p = manifest.Problem(c.Key, text)
		}
		if p != nil {
			return nil, usage(fmt.Errorf("--%s: %s: found %s, expected %s%s", flagOf(c.Name), p.What, p.Found, p.Expected, tryIt(p.Advice)))
		}
	}
	file, err := updatedModel(shop.Dir, m, o.given)
	if err != nil {
		return nil, err
	}
	hosts, err := o.hosts(shop, m.ID)
	return append([]*edit.File{file}, hosts...), err
}

// updatedModel is the file of a model with what is said of it now.
func updatedModel(dir string, m *manifest.Model, g modelSaid) (*edit.File, error) {
	file, err := edit.Open(dir, edit.NameOf(m.At("")))
	if err != nil {
		return nil, err
	}
	if key := g["signing_key"]; key != "" && m.SigningKey != "" && key != m.SigningKey {
		return nil, fmt.Errorf("%s has another signing_key in the catalogue: it was left as it is; package add --signing-key with --replace-key says why it is another", m.ID)
	}
	front := []string{"model", "maker", "name", "kind"}
	for _, c := range []string{"maker", "name", "kind", "signing_key", "version_shown"} {
		if g[c] == "" {
			continue
		}
		if err := file.Set(edit.Way{c}, g[c], beforeReleases...); err != nil {
			return nil, err
		}
	}
	if err := setFlag(file, edit.Way{"alike"}, g, m.Alike, front...); err != nil {
		return nil, err
	}
	if err := setFlag(file, edit.Way{"opens_archives"}, g, m.OpensArchives, beforeReleases...); err != nil {
		return nil, err
	}
	if err := setCard(file, m, g); err != nil {
		return nil, err
	}
	if g["route"] != "" {
		if err := file.Set(edit.Way{"route"}, g["route"], append(front, "alike", "card")...); err != nil {
			return nil, err
		}
	}
	if g["passes_on"] != "" {
		if err := setList(file, edit.Way{"passes_on"}, m.PassesOn, listed(g["passes_on"]), append(front, "alike", "card")...); err != nil {
			return nil, err
		}
	}
	if g["on_network"] != "" {
		return file, setList(file, edit.Way{"on_network"}, m.OnNetwork, split(g["on_network"], "/"), append(front, "alike", "card", "passes_on")...)
	}
	return file, nil
}

// setFlag writes a value of yes or no where it is said and isn't so already.
func setFlag(file *edit.File, way edit.Way, g modelSaid, now bool, behind ...string) error {
	column, _ := way[len(way)-1].(string)
	if g[column] == "" || g.is(column) == now {
		return nil
	}
	return file.Set(way, edit.Plain(fmt.Sprint(g.is(column))), behind...)
}

// setCard changes the card rules of a model, or makes some, or takes them out.
func setCard(file *edit.File, m *manifest.Model, g modelSaid) error {
	if g["card"] == noCard {
		if m.Card == nil {
			return nil
		}
		return file.Delete(edit.Way{"card"})
	}
	if m.Card == nil {
		if g["card"] == "" {
			return nil
		}
		o := modelOptions{
			card: g["card"], fileSystems: or(g["file_systems"], "fat32"), slot: g["slot"], folder: or(g["folder"], manifest.AnyFolder),
			atPowerUp: g.is("at_power_up"), alone: g.is("alone"),
		}
		rules, err := o.cardRules()
		if err != nil {
			return err
		}
		return file.Set(edit.Way{"card"}, rules, "model", "maker", "name", "kind", "alike")
	}
	if g["card"] != "" {
		least, most, err := manifest.SizesAsTyped(g["card"])
		if err != nil {
			return err
		}
		if err := setSize(file, "least", m.Card.Least, least); err != nil {
			return err
		}
		if err := setSize(file, "most", m.Card.Most, most); err != nil {
			return err
		}
	}
	return setCardWords(file, m.Card, g)
}

func setSize(file *edit.File, key string, was, is manifest.Size) error {
	if was == is {
		return nil
	}
	return file.Set(edit.Way{"card", key}, edit.Plain(is.String()))
}

func setCardWords(file *edit.File, c *manifest.CardRules, g modelSaid) error {
	for _, key := range []string{"slot", "folder"} {
		if g[key] == "" {
			continue
		}
		if err := file.Set(edit.Way{"card", key}, g[key], "least", "most", "file_systems", "slot"); err != nil {
			return err
		}
	}
	if g["file_systems"] != "" {
		if err := setList(file, edit.Way{"card", "file_systems"}, c.FileSystems, listed(g["file_systems"]), "least", "most"); err != nil {
			return err
		}
	}
	rules := []string{"least", "most", "file_systems", "slot", "folder"}
	if err := setFlag(file, edit.Way{"card", "at_power_up"}, g, c.AtPowerUp, rules...); err != nil {
		return err
	}
	return setFlag(file, edit.Way{"card", "alone"}, g, c.Alone, append(rules, "at_power_up")...)
}

// setList makes a list say something else, entry by entry.
func setList(file *edit.File, way edit.Way, have, want []string, behind ...string) error {
	at := len(have)
	for _, w := range want {
		if slices.Contains(have, w) {
			continue
		}
		if err := file.Insert(way, at, w, behind...); err != nil {
			return err
		}
		at++
	}
	for i := len(have) - 1; i >= 0; i-- {
		if slices.Contains(want, have[i]) {
			continue
		}
		if err := file.Delete(append(slices.Clone(way), i)); err != nil {
			return err
		}
	}
	return nil
}

// twice are the models that a table has more than once: each makes a file.
func twice(table *tables.Table) (ms manifest.Mistakes) {
	first := map[string]int{}
	for _, row := range table.Rows {
		id, at := row.Get("model"), row.At("model")
		if line, ok := first[id]; ok {
			ms = append(ms, manifest.Mistake{
				At: at, What: "model given twice", Problem: problem.Problem{
					Found:    fmt.Sprintf("%q again", id),
					Expected: fmt.Sprintf("each one once; the first is in line %d", line),
				},
			})
			continue
		}
		first[id] = at.Line
	}
	return ms
}
