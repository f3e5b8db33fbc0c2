package order

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// waiting is a release that can't be installed until devices of another model
// run a version in a range.
type waiting struct {
	model   *manifest.Model
	release *manifest.Release
	on      string // model
	until   version.Range
}

// circleAmong is a chain of releases among facts, each of which waits for the next,
// that ends where it begins; or nil.
func circleAmong(q *question, facts []fact) []string {
	waits := waitsAmong(q, facts)
	for _, first := range waits {
		chain := extendChain(waits, []waiting{first}, map[*manifest.Release]bool{})
		if chain == nil {
			continue
		}
		names := make([]string, len(chain))
		for i, w := range chain {
			names[i] = w.model.ID + " " + string(w.release.Version)
		}
		return append(names, names[0])
	}
	return nil
}

// extendChain goes on with a chain until it closes; seen are the releases from which
// it doesn't.
func extendChain(waits, chain []waiting, seen map[*manifest.Release]bool) []waiting {
	last := chain[len(chain)-1]
	for _, next := range waits {
		switch {
		case next.model.ID != last.on || !last.until.Allows(next.release.Version) || seen[next.release]:
			continue
		case next.release == chain[0].release:
			return chain
		}
		seen[next.release] = true
		if closed := extendChain(waits, append(slices.Clone(chain), next), seen); closed != nil {
			return closed
		}
	}
	return nil
}

// waitsAmong lists, of some facts, which release has to wait for which model.
func waitsAmong(q *question, facts []fact) []waiting {
	var all []waiting
	for _, f := range facts {
		switch of := f.about.(type) {
		case *manifest.Need:
			if of.By == manifest.ByStart {
				m, r := q.releaseWhere(func(r *manifest.Release) bool { return slices.Contains(r.Needs, of) })
				all = append(all, waiting{m, r, of.Model, of.Version})
			}
		case *manifest.Release:
			if f.kind == KindPassedOn {
				all = append(all, waitsForHosts(q, of)...)
			}
		}
	}
	return all
}

func waitsForHosts(q *question, r *manifest.Release) []waiting {
	m, _ := q.releaseWhere(func(s *manifest.Release) bool { return s == r })
	var all []waiting
	for _, d := range q.devices {
		for _, h := range q.devices {
			if d.Model == m.ID && slices.Contains(d.Through, h.ID) {
				all = append(all, waiting{m, r, h.Model, r.PassedOnBy})
			}
		}
	}
	return all
}
