package audit

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Status says how a device stands against the catalogue.
type Status string

// The statuses, from worst to best.
const (
	StatusWithdrawn Status = "withdrawn" // it runs a release that nobody should run
	StatusDisputed  Status = "disputed"  // two writers say different versions
	StatusUnknown   Status = "unknown"   // nobody read its version
	StatusBehind    Status = "behind"    // newer releases are in the catalogue
	StatusUnlisted  Status = "unlisted"  // the catalogue doesn't know its model or its release
	StatusCurrent   Status = "current"
)

// Statuses is the closed list, in that order.
var Statuses = []Status{StatusWithdrawn, StatusDisputed, StatusUnknown, StatusBehind, StatusUnlisted, StatusCurrent}

// judge knows the catalogue's releases, newest first, and those withdrawn.
type judge struct {
	releases  map[string][]version.V // by model and variant
	listed    map[string]bool        // by model, variant and version
	withdrawn map[string]bool
	all       map[string]bool // withdrawn in every variant, by model and version
}

func newJudge(catalogue []*manifest.Model, withdrawn known.Withdrawals) *judge {
	j := &judge{releases: map[string][]version.V{}, listed: map[string]bool{}, withdrawn: map[string]bool{}, all: map[string]bool{}}
	for _, w := range withdrawn {
		j.withdrawn[releaseKey(w.Model, w.Variant, w.Version)] = true
		if w.Variant == "" {
			j.all[releaseKey(w.Model, "", w.Version)] = true
		}
	}
	for _, m := range catalogue {
		for _, r := range m.Releases {
			key := releaseKey(m.ID, r.Variant, r.Version)
			j.listed[key] = true
			if r.Withdrawn != "" {
				j.withdrawn[key] = true
			}
			if !j.isWithdrawn(m.ID, r.Variant, r.Version) {
				j.releases[m.ID+"\n"+r.Variant] = append(j.releases[m.ID+"\n"+r.Variant], r.Version)
			}
		}
	}
	for _, list := range j.releases {
		slices.SortFunc(list, func(a, b version.V) int { return version.Compare(b, a) })
	}
	return j
}

func releaseKey(model, variant string, v version.V) string {
	return model + "\n" + variant + "\n" + ledger.VersionKey(v)
}

func (j *judge) isWithdrawn(model, variant string, v version.V) bool {
	return j.withdrawn[releaseKey(model, variant, v)] || j.all[releaseKey(model, "", v)]
}

func (j *judge) standing(d Device) Standing {
	s := Standing{Device: d}
	newer := j.releases[d.Model+"\n"+d.Variant]
	if len(newer) > 0 {
		s.Newest = newer[0]
	}
	if !d.Unknown() {
		for _, v := range newer {
			if version.Compare(v, d.Version) > 0 {
				s.Behind++
			}
		}
	}
	s.Status = j.status(d, s.Behind)
	return s
}

func (j *judge) status(d Device, behind int) Status {
	switch {
	case j.isWithdrawn(d.Model, d.Variant, d.Version) || d.Other != "" && j.isWithdrawn(d.Model, d.Variant, d.Other):
		return StatusWithdrawn
	case d.Other != "":
		return StatusDisputed
	case d.Unknown():
		return StatusUnknown
	case behind > 0:
		return StatusBehind
	case !j.listed[releaseKey(d.Model, d.Variant, d.Version)]:
		return StatusUnlisted
	}
	return StatusCurrent
}
