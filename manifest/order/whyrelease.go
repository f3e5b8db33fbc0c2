package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// preference says which plan is chosen, of all that are safe.
const preference = "Of all releases that fit one another and that a safe order leads to: the fewest releases behind " +
	"in all, then on the chart displays, then device by device in the order of the vessel's file. " +
	"Of all orders that lead there: the fewest steps; then no step without a way back before one with a way back, " +
	"unless the rules force it; then the least time out of service, steering and navigation first; then the fewest " +
	"card swaps; then the order of the file."

// Reason is why a device ends where it does.
type Reason struct {
	Device     string      `json:"device"`
	Model      string      `json:"model"`
	Installed  version.V   `json:"installed"`
	Ends       version.V   `json:"ends"`  // "" where there is a conflict
	Newer      []NotChosen `json:"newer"` // releases that it doesn't get, newest first
	Conflict   *Conflict   `json:"conflict"`
	Preference string      `json:"preference"`
}

// NotChosen is why a device doesn't end on a newer release: facts that rule it
// out together, or, where it could be had, what would be had instead.
type NotChosen struct {
	Version version.V `json:"version"`
	Because []Fact    `json:"because"`
	Circle  []string  `json:"circle,omitempty"` // as in Conflict
	Instead string    `json:"instead"`
}

// Why explains what WhatIf chooses for one device. Errors are those of WhatIf.
func Why(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, id string) (Reason, error) {
	if err := (Ask{Hold: []string{id}}).validate(shop, vessel); err != nil {
		return Reason{}, err
	}
	plan, err := WhatIf(shop, vessel, ask)
	if err != nil {
		return Reason{}, err
	}
	d := vessel.Device(id)
	reason := Reason{
		Device: id, Model: d.Model, Installed: d.Version, Ends: plan.ends(d),
		Newer: []NotChosen{}, Preference: preference,
	}
	if left := leftOutOf(plan.LeftOut, id); left != nil {
		reason.Ends, reason.Conflict = "", left.Conflict
		return reason, left.err(plan)
	}
	return reason, reason.explain(shop, vessel, ask, d)
}

// err is why nothing is known of what is left out, in addition to a conflict.
func (l *LeftOut) err(plan Plan) error {
	switch {
	case len(l.Unknown) > 0:
		return &Unread{slices.DeleteFunc(slices.Clone(plan.Unknown), func(r Reading) bool { return !slices.Contains(l.Unknown, r.Device) })}
	case l.gaveUp != nil:
		return l.gaveUp
	}
	return nil
}

// ends is what a device runs when the plan is done.
func (p Plan) ends(d *manifest.Device) version.V {
	end := d.Version
	for _, s := range p.Steps {
		if s.Device == d.ID {
			end = s.To
		}
	}
	return end
}

func (r *Reason) explain(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, d *manifest.Device) error {
	var newer []*manifest.Release
	for _, release := range slices.Backward(releases(shop.Model(d.Model), d.Variant)) {
		if version.Compare(release.Version, r.Ends) > 0 {
			newer = append(newer, release)
		}
	}
	return r.explainReleases(shop, vessel, ask, d, newer...)
}

// explainReleases explains why a device doesn't end on these releases.
func (r *Reason) explainReleases(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, d *manifest.Device, newer ...*manifest.Release) error {
	q := question{shop: shop, vessel: vessel, ask: ask, limits: standard}
	for _, devices := range connectedGroups(shop, vessel, ask) {
		if slices.Contains(devices, d) {
			q.devices = devices
		}
	}
	chosen, ok := q.problem().solve(q.limits.work())
	if !ok {
		return &GaveUp{ids(q.devices), "the reasons for this choice were not found"}
	}
	for _, release := range newer {
		r.Newer = append(r.Newer, q.notChosen(d, release, chosen))
	}
	return nil
}

func (q question) notChosen(d *manifest.Device, r *manifest.Release, chosen outcome) NotChosen {
	n := NotChosen{Version: r.Version, Because: []Fact{}}
	if r.Withdrawn != "" {
		n.Because = append(n.Because, describe(&q, fact{KindWithdrawn, r}))
		return n
	}
	q.end = map[*manifest.Device]version.V{d: r.Version}
	p := q.problem()
	o, ok := p.solve(q.limits.work())
	switch {
	case !ok:
		n.Instead = "not settled: the search was given up"
	case o.target != nil:
		n.Instead = chosen.comparedWith(o)
	default:
		kept, _ := q.proof()
		for _, f := range kept {
			n.Because = append(n.Because, describe(&q, f))
		}
		n.Circle = circleAmong(&q, kept)
	}
	return n
}

// comparedWith says what another outcome, of the same devices, would give up against
// this one.
func (o outcome) comparedWith(other outcome) string {
	var parts []string
	a, b := o.walker.p, other.walker.p
	for i := range a.devices {
		have, would := a.devices[i].options[o.target[i]], b.devices[i].options[other.target[i]]
		if have.compare(would.point) > 0 {
			parts = append(parts, fmt.Sprintf("%s would end on %s, not %s", a.devices[i].ID, would.version, have.version))
		}
	}
	return fmt.Sprintf("%s: %d releases behind in all, not %d", strings.Join(parts, ", "), b.score(other.target).sum, a.score(o.target).sum)
}
