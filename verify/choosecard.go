package verify

import "cardwright/media"

// Choose returns the card of a layout that matches the one at hand: by its
// record's number where the record is for this plan, else the one most of
// whose files are there by path and size. ok is false where the layout has no
// card at all.
func Choose(l media.Layout, on Listing) (card media.Card, ok bool) {
	if len(l.Cards) == 0 {
		return media.Card{}, false
	}
	if r := on.Record; r != nil && r.Plan == l.PlanID && r.Of == len(l.Cards) {
		return l.Cards[r.Card-1], true
	}
	best, most := 0, -1
	for i, c := range l.Cards {
		n := 0
		for _, f := range c.Files {
			if size, ok := on.sizes[key(f.Path)]; ok && size == f.Size {
				n++
			}
		}
		if n > most {
			best, most = i, n
		}
	}
	return l.Cards[best], true
}
