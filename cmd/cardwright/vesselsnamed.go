package main

import (
	"fmt"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/edit"
)

// vesselCalled finds the one vessel that a word means.
func vesselCalled(shop *manifest.Shop, word string) (*manifest.Vessel, error) {
	found := shop.VesselsCalled(word)
	var words []string
	for _, v := range shop.Vessels {
		words = append(words, v.ID, v.Name)
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		var ids []string
		for _, v := range found {
			ids = append(ids, v.ID)
		}
		return nil, usage(fmt.Errorf("%d vessels are called %q: say which by its id: %s", len(found), word, strings.Join(ids, ", ")))
	}
	return nil, usage(fmt.Errorf("no vessel %q in %s%s; there are: %s", word, shop.Dir, tryIt(or(manifest.Nearest(word, words), onlyOneThatBegins(shop, word))), vesselIDs(shop)))
}

// onlyOneThatBegins is the vessel whose id or name begins so, where there is one only.
func onlyOneThatBegins(shop *manifest.Shop, word string) (id string) {
	for _, v := range shop.Vessels {
		begins := func(name string) bool { return strings.HasPrefix(edit.ID(name), edit.ID(word)) }
		if edit.ID(word) == "" || !begins(v.ID) && !begins(v.Name) {
			continue
		}
		if id != "" {
			return ""
		}
		id = v.ID
	}
	return id
}

// mostNamed is how many vessels, or drives, an error names.
const mostNamed = 20

func vesselIDs(shop *manifest.Shop) string {
	var ids []string
	for _, v := range shop.Vessels {
		ids = append(ids, v.ID)
	}
	return or(namedFew(ids, ", "), "none")
}

// namedFew is a list of names, and how many more there are than an error names.
func namedFew(names []string, between string) string {
	if more := len(names) - mostNamed; more > 0 {
		return strings.Join(names[:mostNamed], between) + between + fmt.Sprintf("and %d more", more)
	}
	return strings.Join(names, between)
}

// vesselsNamed are the vessels with these ids or names, or all.
func vesselsNamed(shop *manifest.Shop, ids []string) ([]*manifest.Vessel, error) {
	if len(ids) == 0 {
		return shop.Vessels, nil
	}
	var all []*manifest.Vessel
	for _, id := range ids {
		v, err := vesselCalled(shop, id)
		if err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, nil
}
