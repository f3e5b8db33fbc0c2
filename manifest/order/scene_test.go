package order

import (
	"fmt"
	"regexp"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/version"
)

// scene reads a shop and a vessel written on a few lines, one thing a line:
//
//	model fennick-plot-12 card passes[fennick-sweep-2] alike kind[chart display]
//	4.0 over[>= 3.0] needs[fennick-sweep-2 >= 1.8 by end] passed[>= 4.0] withdrawn[why] variant[EU] noback minutes[20]
//	device flybridge fennick-plot-12 3.1 hold[< 4] through[helm] variant[EU]
//
// Everything's position is its line in the file "scene"; a need has its number
// among the needs of that line as its column.
func scene(text string) (*manifest.Shop, *manifest.Vessel) {
	shop, vessel := &manifest.Shop{Name: "Hollin Quay Marine Electrics"}, &manifest.Vessel{ID: "kittiwake"}
	shop.Vessels = []*manifest.Vessel{vessel}
	for i, line := range strings.Split(text, "\n") {
		words := strings.Fields(bracketed.ReplaceAllString(line, ""))
		if len(words) == 0 {
			continue
		}
		s := sceneLine{words: words, at: manifest.Pos{File: "scene", Line: i + 1}, attrs: bracketed.FindAllStringSubmatch(line, -1)}
		switch words[0] {
		case "model":
			shop.Models = append(shop.Models, s.model())
		case "device":
			vessel.Devices = append(vessel.Devices, s.device())
		default:
			m := shop.Models[len(shop.Models)-1]
			m.Releases = append(m.Releases, s.release())
		}
	}
	return shop, vessel
}

var bracketed = regexp.MustCompile(`(\w+)\[([^\]]*)\]`)

type sceneLine struct {
	words []string
	attrs [][]string
	at    manifest.Pos
}

func (s sceneLine) attr(name string) string {
	for _, a := range s.attrs {
		if a[1] == name {
			return a[2]
		}
	}
	return ""
}

func (s sceneLine) has(word string) bool { return contains(s.words, word) }

func (s sceneLine) rng(text string) version.Range {
	r, err := version.ParseRange(text)
	if err != nil {
		panic(err)
	}
	return r
}

func (s sceneLine) model() *manifest.Model {
	m := &manifest.Model{ID: s.words[1], Kind: manifest.Kind(s.attr("kind")), Alike: s.has("alike"), Route: s.attr("route"), PassesOn: strings.Fields(s.attr("passes"))}
	if s.has("card") {
		m.Card = &manifest.CardRules{Least: 4e9, Most: 32e9, FileSystems: []string{"fat32"}, Folder: manifest.AnyFolder}
		m.Card.Alone, m.Card.AtPowerUp = s.has("alone"), s.has("powerup")
		if s.has("small") {
			m.Card.Least, m.Card.Most = 1e9, 2e9
		}
		if f := s.attr("folder"); f != "" {
			m.Card.Folder = f
		}
	}
	m.SetAt("", s.at)
	return m
}

func (s sceneLine) release() *manifest.Release {
	r := &manifest.Release{
		Version: version.V(s.words[0]), Over: s.rng(s.attr("over")), PassedOnBy: s.rng(s.attr("passed")),
		Variant: s.attr("variant"), Withdrawn: s.attr("withdrawn"),
	}
	r.SetAt("", s.at)
	fmt.Sscan(s.attr("minutes"), &r.Minutes)
	if s.has("noback") {
		r.WayBack = new(bool)
	}
	if s.has("back") || s.attr("back") != "" {
		r.WayBack, r.BackTo = new(true), s.rng(s.attr("back"))
	}
	for _, a := range s.attrs {
		if a[1] == "needs" {
			r.Needs = append(r.Needs, s.need(a[2], len(r.Needs)+1))
		}
	}
	f := &manifest.File{Name: s.words[0] + ".upd", Size: 1000, SHA256: digest.SHA256(fmt.Sprintf("%064d", s.at.Line))}
	if s.has("samefile") {
		f.Name = "UPDATE.upd"
	}
	r.Files = []*manifest.File{f}
	return r
}

func (s sceneLine) need(text string, column int) *manifest.Need {
	model, rest, _ := strings.Cut(text, " ")
	rng, by, _ := strings.Cut(rest, " by ")
	n := &manifest.Need{Model: model, Version: s.rng(rng), By: by}
	n.SetAt("", manifest.Pos{File: s.at.File, Line: s.at.Line, Column: column})
	return n
}

func (s sceneLine) device() *manifest.Device {
	d := &manifest.Device{
		ID: s.words[1], Model: s.words[2], Version: version.V(s.words[3]),
		Hold: s.rng(s.attr("hold")), Variant: s.attr("variant"), Through: strings.Fields(s.attr("through")),
	}
	d.SetAt("", s.at)
	return d
}

// short writes a plan's order on one line: device from>to (through), …
func short(p Plan) string {
	var parts []string
	for _, s := range p.Steps {
		part := fmt.Sprintf("%s %s>%s", s.Device, s.From, s.To)
		if s.Through != "" {
			part += " through " + s.Through
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

func contains(list []string, s string) bool {
	for _, t := range list {
		if s == t {
			return true
		}
	}
	return false
}
