package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/tables"
)

// saidByFlags are the flags that were given, under their keys.
func saidByFlags(cmd *cobra.Command) edit.ModelSaid {
	said := edit.ModelSaid{}
	for _, c := range edit.ModelColumns {
		name := flagOf(c.Name)
		flag := cmd.Flags().Lookup(name)
		if flag == nil || !flag.Changed {
			continue
		}
		if all, err := cmd.Flags().GetStringSlice(name); err == nil {
			said[c.Name] = all
		} else {
			said.Say(c.Name, flag.Value.String())
		}
	}
	if systems := said.Text("file_systems"); systems != "" {
		said["file_systems"] = tables.Words(systems)
	}
	return said
}

func flagOf(column string) string {
	return strings.ReplaceAll(column, "_", "-")
}

// modelsFrom are the files of the models in a table, and how many of them were
// there. Every row is looked at before anything is said.
func modelsFrom(shop *manifest.Shop, o modelOptions, args []string) (files []*edit.File, changed int, err error) {
	if len(args) > 0 {
		return nil, 0, usage(errors.New("either ID or --from TABLE, not both"))
	}
	table, err := readTable(o.from, edit.ModelColumns)
	if err != nil && mistakes(err) == nil {
		return nil, 0, err
	}
	if ms := append(mistakes(err), edit.ModelMistakes(shop, table)...); ms != nil {
		return nil, 0, mistakesIn(o.from, inOrder(ms))
	}
	for _, row := range table.Rows {
		var file *edit.File
		said := edit.SaidInRow(row)
		if m := shop.Model(said.Text("model")); m != nil && o.update {
			changed++
			file, err = updatedModel(shop, m, said)
		} else if file, err = edit.NewModel(shop, said); isKnown(err) {
			err = fmt.Errorf("%w: nothing was written; --update changes it", err)
		}
		if err != nil {
			return nil, 0, fmt.Errorf("%s: %w", row.At("model"), err)
		}
		files = append(files, file)
	}
	return files, changed, nil
}

func isKnown(err error) bool {
	_, is := errors.AsType[*edit.Known](err)
	return is
}

// updated are the files that change when flags say more of one model.
func (o *modelOptions) updated(shop *manifest.Shop, args []string) ([]*edit.File, error) {
	if len(args) == 0 {
		return nil, usage(errors.New("say which model is to be changed: cardwright model add ID --update"))
	}
	m := shop.Model(args[0])
	if m == nil {
		return nil, usage(fmt.Errorf("no model %q in the catalogue to change%s", args[0], tryIt(manifest.Nearest(args[0], shop.ModelIDs()))))
	}
	for _, c := range edit.ModelColumns {
		p := o.said.Problem(c.Name, shop.ModelIDs())
		for _, text := range o.said[c.Name] {
			if p == nil && c.Key != "" {
				p = manifest.Problem(c.Key, text)
			}
		}
		if p != nil {
			return nil, usage(fmt.Errorf("--%s: %s: found %s, expected %s%s", flagOf(c.Name), p.What, p.Found, p.Expected, tryIt(p.Advice)))
		}
	}
	file, err := updatedModel(shop, m, o.said)
	if err != nil {
		return nil, err
	}
	hosts, err := o.hosts(shop, m.ID)
	return append([]*edit.File{file}, hosts...), err
}

func updatedModel(shop *manifest.Shop, m *manifest.Model, said edit.ModelSaid) (*edit.File, error) {
	file, err := edit.UpdateModel(shop, m, said)
	if errors.Is(err, edit.ErrOtherKey) {
		err = fmt.Errorf("%w; package add --signing-key with --replace-key says why it is another", err)
	}
	return file, err
}
