package edit

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
)

// ModelSaid is what is said of a model, by the keys of its file and of its card
// rules; what isn't there wasn't said. Values are as people write them: yes or no;
// of a list each of its entries; of card the smallest and the largest one, 4GB-32GB,
// or NoCard.
type ModelSaid map[string][]string

// NoCard is the card of a model without a card slot.
const NoCard = "none"

// expectedCard is what may be said of the card.
const expectedCard = "the smallest and the largest card as printed on cards, such as 4GB-32GB, or " + NoCard

// What is usual where nothing is said.
const (
	usualFileSystem = "fat32"
	usualFolder     = manifest.AnyFolder
)

// Text is what is said of a key that has one value; "": nothing.
func (g ModelSaid) Text(key string) string {
	if len(g[key]) == 0 {
		return ""
	}
	return g[key][0]
}

// Say says one thing of a key; "" says nothing.
func (g ModelSaid) Say(key, text string) {
	if delete(g, key); text != "" {
		g[key] = []string{text}
	}
}

// Yes reports whether yes is said of a key.
func (g ModelSaid) Yes(key string) bool {
	yes, _ := tables.YesOrNo(g.Text(key))
	return yes
}

func (g ModelSaid) or(key, usual string) string {
	if text := g.Text(key); text != "" {
		return text
	}
	return usual
}

// Problem is why a key's value isn't allowed in a catalogue of these models;
// nil where it can. Where it may be any text the loader has the last word.
func (g ModelSaid) Problem(key string, models []string) *manifest.Mistake {
	text := g.Text(key)
	switch key {
	case "at_power_up", "alone", "opens_archives", "alike":
		if _, ok := tables.YesOrNo(text); !ok {
			return &manifest.Mistake{What: "unknown word", Problem: problem.Problem{Found: fmt.Sprintf("%q", text), Expected: "yes or no"}}
		}
	case "card":
		if _, _, err := manifest.SizesAsTyped(text); err != nil && text != "" && text != NoCard {
			return &manifest.Mistake{What: "not the sizes of cards", Problem: problem.Problem{Found: err.Error(), Expected: expectedCard}}
		}
	case "file_systems":
		for _, w := range g[key] {
			if m := manifest.Problem("CardRules.file_systems", w); m != nil {
				return m
			}
		}
	case "passes_on":
		for _, id := range g[key] {
			if !slices.Contains(models, id) {
				return &manifest.Mistake{What: "no such model", Problem: problem.Problem{Found: fmt.Sprintf("%q", id), Expected: "ids of models in the catalogue or in this table, with spaces between them", Advice: manifest.Nearest(id, models)}}
			}
		}
	}
	return nil
}

// UsualMaker is the maker in an id: Fennick of fennick-plot-12.
func UsualMaker(id string) string {
	maker, _, _ := strings.Cut(id, "-")
	return TitleOf(maker)
}

// UsualName is the name in an id: Plot 12 of fennick-plot-12.
func UsualName(id string) string {
	if _, rest, ok := strings.Cut(id, "-"); ok {
		return TitleOf(rest)
	}
	return TitleOf(id)
}

// Known says that the catalogue has a model already.
type Known struct{ Model, File string }

func (e *Known) Error() string { return "the catalogue has " + e.Model + " already, in " + e.File }

// NewModel is the file of a model that the catalogue doesn't have. What isn't said of
// it is as usual: a model without a word about its card has no slot.
func NewModel(shop *manifest.Shop, said ModelSaid) (*File, error) {
	id := said.Text("model")
	if m := shop.Model(id); m != nil {
		return nil, &Known{id, m.At("").File}
	}
	card, err := said.cardRules()
	if err != nil {
		return nil, err
	}
	name := path.Join(manifest.CatalogueFolder, id+".yaml")
	return New(shop.Dir, name, []string{SchemaComment(name)}, ModelKeys.of(map[string]Value{
		"model":          id,
		"maker":          said.or("maker", UsualMaker(id)),
		"name":           said.or("name", UsualName(id)),
		"kind":           said.Text("kind"),
		"alike":          trueOrNil(said.Yes("alike")),
		"card":           card,
		"route":          orNil(said.Text("route")),
		"passes_on":      listOrNil(texts(said["passes_on"])),
		"on_network":     listOrNil(texts(said["on_network"])),
		"signing_key":    orNil(said.Text("signing_key")),
		"opens_archives": trueOrNil(said.Yes("opens_archives")),
		"version_shown":  orNil(said.Text("version_shown")),
	}))
}

// cardRules are those of a model that has none yet; nil of one without a slot.
func (g ModelSaid) cardRules() (Value, error) {
	card := g.or("card", NoCard)
	if card == NoCard {
		return nil, nil
	}
	least, most, err := manifest.SizesAsTyped(card)
	if err != nil {
		return nil, fmt.Errorf("found %w; expected %s", err, expectedCard)
	}
	systems := g["file_systems"]
	if len(systems) == 0 {
		systems = []string{usualFileSystem}
	}
	return CardKeys.of(map[string]Value{
		"least":        Plain(least.String()),
		"most":         Plain(most.String()),
		"file_systems": texts(systems),
		"slot":         orNil(g.Text("slot")),
		"folder":       g.or("folder", usualFolder),
		"at_power_up":  trueOrNil(g.Yes("at_power_up")),
		"alone":        trueOrNil(g.Yes("alone")),
	}), nil
}

// PassOn is the file of a model that passes packages of another one on from now on.
func PassOn(shop *manifest.Shop, host *manifest.Model, model string) (*File, error) {
	f, err := Open(shop.Dir, NameOf(host.At("")))
	if err != nil {
		return nil, err
	}
	return f, f.Insert(Way{"passes_on"}, f.Len("passes_on"), model, ModelKeys)
}

// ErrOtherKey says that a model has another signing key, which isn't replaced without
// a word about why.
var ErrOtherKey = errors.New("has another signing_key in the catalogue: it was left as it is")

// UpdateModel is the file of a model with what is said of it now; all else stays.
func UpdateModel(shop *manifest.Shop, m *manifest.Model, said ModelSaid) (*File, error) {
	if key := said.Text("signing_key"); key != "" && m.SigningKey != "" && key != m.SigningKey {
		return nil, fmt.Errorf("%s %w", m.ID, ErrOtherKey)
	}
	f, err := Open(shop.Dir, NameOf(m.At("")))
	if err != nil {
		return nil, err
	}
	return f, errors.Join(
		f.setTexts(nil, ModelKeys, said, "maker", "name", "kind", "route", "signing_key", "version_shown"),
		f.setYes(Way{"alike"}, ModelKeys, said, m.Alike),
		f.setYes(Way{"opens_archives"}, ModelKeys, said, m.OpensArchives),
		f.setCard(m, said),
		f.setList(Way{"passes_on"}, ModelKeys, m.PassesOn, said["passes_on"]),
		f.setList(Way{"on_network"}, ModelKeys, m.OnNetwork, said["on_network"]),
	)
}

// setTexts writes what is said of keys that have one value.
func (f *File) setTexts(within Way, order KeyOrder, said ModelSaid, keys ...string) error {
	for _, key := range keys {
		if said.Text(key) == "" {
			continue
		}
		if err := f.Set(append(slices.Clone(within), key), said.Text(key), order); err != nil {
			return err
		}
	}
	return nil
}

// setYes writes a value of yes or no where it is said and isn't so already.
func (f *File) setYes(way Way, order KeyOrder, said ModelSaid, now bool) error {
	key, _ := way[len(way)-1].(string)
	if said.Text(key) == "" || said.Yes(key) == now {
		return nil
	}
	return f.Set(way, Plain(fmt.Sprint(said.Yes(key))), order)
}

// setCard changes the card rules of a model, or makes some, or takes them out.
func (f *File) setCard(m *manifest.Model, said ModelSaid) error {
	card := said.Text("card")
	switch {
	case m.Card == nil && (card == "" || card == NoCard):
		return nil
	case m.Card == nil:
		rules, err := said.cardRules()
		if err != nil {
			return err
		}
		return f.Set(Way{"card"}, rules, ModelKeys)
	case card == NoCard:
		return f.Delete(Way{"card"})
	}
	if card != "" {
		least, most, err := manifest.SizesAsTyped(card)
		if err != nil {
			return fmt.Errorf("found %w; expected %s", err, expectedCard)
		}
		if err := errors.Join(f.setSize("least", m.Card.Least, least), f.setSize("most", m.Card.Most, most)); err != nil {
			return err
		}
	}
	return errors.Join(
		f.setTexts(Way{"card"}, CardKeys, said, "slot", "folder"),
		f.setList(Way{"card", "file_systems"}, CardKeys, m.Card.FileSystems, said["file_systems"]),
		f.setYes(Way{"card", "at_power_up"}, CardKeys, said, m.Card.AtPowerUp),
		f.setYes(Way{"card", "alone"}, CardKeys, said, m.Card.Alone),
	)
}

func (f *File) setSize(key string, was, is manifest.Size) error {
	if was == is {
		return nil
	}
	return f.Set(Way{"card", key}, Plain(is.String()), CardKeys)
}

// setList makes a list say something else, entry by entry; nothing said leaves it.
func (f *File) setList(way Way, order KeyOrder, have, want []string) error {
	if len(want) == 0 {
		return nil
	}
	at := len(have)
	for _, w := range want {
		if slices.Contains(have, w) {
			continue
		}
		if err := f.Insert(way, at, w, order); err != nil {
			return err
		}
		at++
	}
	for i, h := range slices.Backward(have) {
		if slices.Contains(want, h) {
			continue
		}
		if err := f.Delete(append(slices.Clone(way), i)); err != nil {
			return err
		}
	}
	return nil
}
