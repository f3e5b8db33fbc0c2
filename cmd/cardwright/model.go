package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
)

func newModelCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "model", Short: "Write down which models there are"}
	cmd.AddCommand(newModelAddCommand(s))
	return cmd
}

// modelOptions is one model given by flags and answers, or a table of them.
type modelOptions struct {
	said      edit.ModelSaid
	updatedBy []string
	from      string // a table of models
	update    bool   // models that are there may be changed
	ask       bool
}

func newModelAddCommand(s *session) *cobra.Command {
	var o modelOptions
	cmd := &cobra.Command{
		Use:   "add [ID] [--from TABLE]",
		Short: "Add a model to the catalogue",
		Long: `add writes the catalogue file of a model: which cards it reads, and which models it can
update over the network. Its releases come with cardwright package add. At a terminal
it asks for what the flags leave out, unless they give kind and card.

--from takes a table (CSV) of several models. It must have the columns model and kind,
and can have:

  maker, name, card, file_systems, slot, folder, at_power_up, alone,
  opens_archives, route, passes_on, on_network, alike, signing_key,
  version_shown

Where a cell has several values put spaces between them, in on_network /.

--update changes models that are there already: the flags that you give, or the cells
that are filled in, are written; all else stays.

--updated-by is --passes-on from the other side: it writes the new model into the
files of the models that can update it.`,
		Example: `  cardwright model add --from models.csv
  cardwright model add fennick-plot-9 --kind "chart display" --card 4GB-32GB
  cardwright model add fennick-plot-9 --update --at-power-up`,
		Args: atMostOne("id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.said = saidByFlags(cmd)
			return runModelAdd(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	flags.String("maker", "", "who makes it: `MAKER` (default: from the id)")
	flags.String("name", "", "its `NAME`, as the maker writes it (default: from the id)")
	flags.String("kind", "", "what `KIND` it is: "+strings.Join(manifest.KindWords(), ", "))
	flags.String("card", "", "smallest and largest card it reads, as `SIZES` such as 4GB-32GB; none: it has no card slot")
	flags.String("file-systems", "fat32", "file `SYSTEMS` it reads")
	flags.String("slot", "", "`CARD` that fits its slot: "+strings.Join(manifest.Slots, ", "))
	flags.String("folder", manifest.AnyFolder, "`PATH` on the card where it looks, or any")
	flags.Bool("at-power-up", false, "it installs by itself when powered up with a card in")
	flags.Bool("alone", false, "nothing else may be on its card")
	flags.Bool("opens-archives", false, "it takes a package as an archive, and opens it itself")
	flags.Bool("alike", false, "all devices of the model on one vessel end on one version")
	flags.String("route", "", "`HOW` it is updated where no card does it: "+strings.Join(manifest.Routes, ", "))
	flags.StringSlice("passes-on", nil, "`MODELS` that it can update over the network, with commas between them")
	flags.StringSliceVar(&o.updatedBy, "updated-by", nil, "`MODELS` in the catalogue that can update it over the network, with commas between them")
	flags.StringSlice("on-network", nil, "`IDS` under which it announces itself on the network, with commas between them")
	flags.String("signing-key", "", "the maker's public `KEY` for its packages (minisign)")
	flags.String("version-shown", "", "`WHERE` it shows its version")
	flags.StringVar(&o.from, "from", "", "`TABLE` (CSV) of models")
	flags.BoolVar(&o.update, "update", false, "change models that the catalogue has already")
	flags.BoolVar(&o.ask, "ask", false, askFlag)
	return cmd
}

func runModelAdd(ctx context.Context, s *session, o modelOptions, args []string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	var files []*edit.File
	var changed int
	switch {
	case o.from != "":
		files, changed, err = modelsFrom(shop, o, args)
	case o.update:
		files, err = o.updated(shop, args)
		changed = len(files) - len(o.updatedBy)
	default:
		files, err = o.asked(ctx, &s.terminal, shop, args)
	}
	if err != nil {
		return err
	}
	if err := edit.Save(shop.Dir, files...); err != nil {
		return err
	}
	if err := missingSchemas(shop.Dir); err != nil {
		return err
	}
	s.wrote(modelsDone(len(files)-len(o.updatedBy)-changed, changed), "cardwright package add FILE --model ID --version VERSION", namesOf(files)...)
	return nil
}

func modelsDone(added, changed int) string {
	switch {
	case changed == 0:
		return counted(added, "model") + " added to the catalogue"
	case added == 0:
		return counted(changed, "model") + " changed in the catalogue"
	}
	return counted(added, "model") + " added to the catalogue, " + fmt.Sprint(changed) + " changed"
}

func namesOf(files []*edit.File) []string {
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = f.Name()
	}
	return names
}

// asked is the file of one model, from flags and questions, and those of
// the models that update it.
func (o *modelOptions) asked(ctx context.Context, t *terminal, shop *manifest.Shop, args []string) ([]*edit.File, error) {
	given := ""
	if len(args) == 1 {
		given = args[0]
	}
	a := t.asking(ctx, o.ask, given != "" && o.said.Text("kind") != "" && o.said.Text("card") != "")
	id, err := a.must(given, "ID", "Model.model", "")
	if err != nil {
		return nil, err
	}
	if m := shop.Model(id); m != nil {
		return nil, fmt.Errorf("%w: it was left as it is; --update changes it", &edit.Known{Model: id, File: m.At("").File})
	}
	o.said.Say("model", id)
	for _, q := range []struct {
		key, usual string
		ask        func(given, flag, key, usual string) (string, error)
	}{
		{"maker", edit.UsualMaker(id), a.must},
		{"name", edit.UsualName(id), a.must},
		{"kind", "", a.must},
		{"signing_key", "", nothingUsual},
		{"version_shown", "", a.value},
	} {
		text, err := q.ask(o.said.Text(q.key), "--"+flagOf(q.key), "Model."+q.key, q.usual)
		if err != nil {
			return nil, err
		}
		o.said.Say(q.key, text)
	}
	if err := o.askCard(a); err != nil {
		return nil, err
	}
	if err := o.askNetwork(a, shop); err != nil {
		return nil, err
	}
	file, err := edit.NewModel(shop, o.said)
	if err != nil {
		return nil, err
	}
	hosts, err := o.hosts(shop, id)
	return append([]*edit.File{file}, hosts...), err
}

// askNetwork finds out which models update which: one without a slot can't be
// updated at all before that is known.
func (o *modelOptions) askNetwork(a *asking, shop *manifest.Shop) (err error) {
	var without, with []string
	for _, m := range shop.Models {
		if m.Card == nil {
			without = append(without, m.ID)
		} else {
			with = append(with, m.ID)
		}
	}
	switch {
	case o.said.Text("card") == edit.NoCard && len(o.updatedBy) == 0 && o.said.Text("route") == "":
		o.updatedBy, err = a.ids("models that can update it over the network", with)
	case o.said.Text("card") != edit.NoCard && len(o.said["passes_on"]) == 0:
		o.said["passes_on"], err = a.ids("models that it can update over the network", without)
	}
	slices.Sort(o.updatedBy)
	o.updatedBy = slices.Compact(o.updatedBy)
	return err
}

// hosts are the files of the models that update this one, which say so from now
// on.
func (o *modelOptions) hosts(shop *manifest.Shop, id string) (files []*edit.File, err error) {
	for _, host := range o.updatedBy {
		m := shop.Model(host)
		if m == nil {
			return nil, usage(fmt.Errorf("--updated-by: no model %q in the catalogue%s", host, tryIt(manifest.Nearest(host, shop.ModelIDs()))))
		}
		file, err := edit.PassOn(shop, m, id)
		if err != nil {
			return nil, err
		}
		files = append(files, file)
	}
	return files, nil
}

// nothingUsual is for what is seldom known when a model is added: it isn't
// asked for.
func nothingUsual(given, flag, key, usual string) (string, error) {
	return (&asking{}).value(given, flag, key, usual)
}

// askCard finds out which cards a model reads. What is usual in the trade is
// offered, and not taken without a word: common practice, no source.
func (o *modelOptions) askCard(a *asking) error {
	if o.said.Text("card") != "" {
		if p := o.said.Problem("card", nil); p != nil {
			return usage(fmt.Errorf("--card: found %s; expected %s", p.Found, p.Expected))
		}
		return nil
	}
	slot, err := a.yes("does it have a card slot?", true)
	switch {
	case err != nil:
		return err
	case a.in == nil:
		return usage(errors.New("say with --card which cards it reads, such as --card 4GB-32GB, or --card none where it has no slot"))
	case !slot:
		o.said.Say("card", edit.NoCard)
		return nil
	}
	card, err := a.sizes()
	if err != nil {
		return err
	}
	folder, err := a.must("", "--folder", "CardRules.folder", manifest.AnyFolder)
	if err != nil {
		return err
	}
	atPowerUp, err := a.yes("does it install by itself when powered up with a card in?", o.said.Yes("at_power_up"))
	o.said.Say("card", card)
	o.said.Say("folder", folder)
	o.said.Say("at_power_up", fmt.Sprint(atPowerUp))
	return err
}

// sizes asks for the cards that a device reads, as people write them.
func (a *asking) sizes() (string, error) {
	for {
		least, err := a.line(manifest.Help("CardRules.least"), "4GB")
		if err != nil {
			return "", err
		}
		most, err := a.line(manifest.Help("CardRules.most"), "32GB")
		if err != nil {
			return "", err
		}
		card := or(least, "4GB") + "-" + or(most, "32GB")
		if _, _, err := manifest.SizesAsTyped(card); err != nil {
			a.say("found %v; expected sizes as printed on cards, the smaller one first", err)
			continue
		}
		return card, nil
	}
}

// knownModels refuses devices of a model that the catalogue doesn't have, all at
// once, before a file is made in which nobody could find them.
func knownModels(shop *manifest.Shop, devices []edit.NewDevice) error {
	var ms manifest.Mistakes
	for _, d := range edit.UnknownModels(shop, devices) {
		m := manifest.Mistake{
			At: d.At, What: "no such model", Problem: problem.Problem{
				Found: fmt.Sprintf("%q", d.Model), Expected: "the id of a model in the catalogue",
				Advice: or(manifest.Nearest(d.Model, shop.ModelIDs()), "cardwright model add "+d.Model),
			},
		}
		if d.At.File == "" {
			m.At.File = "--device"
		}
		ms = append(ms, m)
	}
	return mistakesIn("what was said of the devices", ms)
}
