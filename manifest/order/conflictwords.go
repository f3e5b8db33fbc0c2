package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
)

// describe puts a fact into words, with where it is written.
func describe(q *question, f fact) Fact {
	text, at := "", manifest.Pos{}
	switch of := f.about.(type) {
	case *manifest.Need:
		text, at = describeNeed(q, of), of.At("version")
	case *manifest.Release:
		text, at = describeRelease(q, f.kind, of)
	case *Return:
		text = "asked: " + of.Device + " goes back"
		if of.To != "" {
			text += " to " + string(of.To)
		}
	case *manifest.Model:
		text, at = describeModel(q, f.kind, of)
	case *manifest.Device:
		text, at = describeDevice(q, f.kind, of)
	}
	return Fact{text, at, f.kind}
}

func describeNeed(q *question, n *manifest.Need) string {
	by := "when the visit ends"
	if n.By == manifest.ByStart {
		by = "before it is installed"
	}
	model, r := q.releaseWhere(func(r *manifest.Release) bool { return slices.Contains(r.Needs, n) })
	return fmt.Sprintf("%s %s needs %s %s %s", model.ID, r.Version, n.Model, n.Version, by)
}

// releaseWhere finds the first release of the models aboard for which is holds, with
// its model.
func (q *question) releaseWhere(is func(*manifest.Release) bool) (*manifest.Model, *manifest.Release) {
	for _, d := range q.devices {
		m := q.shop.Model(d.Model)
		for _, r := range m.Releases {
			if is(r) {
				return m, r
			}
		}
	}
	return &manifest.Model{}, &manifest.Release{}
}

func describeRelease(q *question, kind Kind, r *manifest.Release) (string, manifest.Pos) {
	model, _ := q.releaseWhere(func(s *manifest.Release) bool { return s == r })
	switch kind {
	case KindWayBack:
		return describeWayBack(model.ID, r), r.At("way_back")
	case KindOver:
		return fmt.Sprintf("%s %s can only be installed over %s", model.ID, r.Version, r.Over), r.At("over")
	case KindPassedOn:
		return fmt.Sprintf("%s %s can only be passed on by a device that runs %s", model.ID, r.Version, r.PassedOnBy), r.At("passed_on_by")
	}
	return fmt.Sprintf("%s %s was withdrawn%s", model.ID, r.Version, why(r.Withdrawn)), r.At("withdrawn")
}

func describeModel(q *question, kind Kind, m *manifest.Model) (string, manifest.Pos) {
	switch kind {
	case KindAlike:
		return fmt.Sprintf("all %s aboard run one version", m.ID), m.At("alike")
	case KindAsked:
		return fmt.Sprintf("asked: %s ends on %s", m.ID, q.ask.Aim[m.ID]), manifest.Pos{}
	}
	return fmt.Sprintf("of %s the catalogue has %s", m.ID, q.knownReleases(m)), m.At("releases")
}

// knownReleases lists the versions that the catalogue has for the devices aboard, the
// newest three where there are more.
func (q *question) knownReleases(m *manifest.Model) string {
	var have []string
	variants := map[string]bool{}
	for _, d := range q.devices {
		if d.Model != m.ID || variants[d.Variant] {
			continue
		}
		variants[d.Variant] = true
		for _, r := range releases(m, d.Variant) {
			have = append(have, named(string(r.Version), d.Variant))
		}
	}
	switch n := len(have); {
	case n == 0:
		return "no release"
	case n > 3:
		return fmt.Sprintf("%d releases, the last of them %s", n, strings.Join(have[n-3:], ", "))
	}
	return "only " + strings.Join(have, ", ")
}

func named(v, variant string) string {
	if variant == "" {
		return v
	}
	return v + " (" + variant + ")"
}

func describeDevice(q *question, kind Kind, d *manifest.Device) (string, manifest.Pos) {
	switch kind {
	case KindHold:
		return fmt.Sprintf("%s is held to %s%s", d.ID, d.Hold, why(d.HoldWhy)), d.At("hold")
	case KindThrough:
		return fmt.Sprintf("%s is updated through %s", d.ID, strings.Join(d.Through, " or ")), d.At("through")
	case KindNoSlot:
		what := "has no card slot, and nothing says how else it is updated"
		switch m := q.shop.Model(d.Model); {
		case m.Route == manifest.ByNobody:
			return fmt.Sprintf("%s, a %s, can't be updated", d.ID, d.Model), d.At("model")
		case m.Route != "" || len(d.Through) > 0:
			what = "has no card slot"
		}
		return fmt.Sprintf("%s, a %s, %s", d.ID, d.Model, what), d.At("model")
	case KindAsked:
		return fmt.Sprintf("asked: %s is left alone", d.ID), manifest.Pos{}
	case KindWayBack:
		return fmt.Sprintf("the catalogue doesn't know %s %s, which %s runs, nor a way back from it", d.Model, named(string(d.Version), d.Variant), d.ID), d.At("version")
	}
	return fmt.Sprintf("%s runs %s %s", d.ID, d.Model, named(string(d.Version), d.Variant)), d.At("version")
}

func why(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + reason
}
