package media

// TargetSets are the targets of several equal sets of cards: the first takes the first
// card of a plan, the next the second, and so on, over and over. A target is the
// bytes of its card; a folder has none, 0.
type TargetSets []int64

// Whole reports whether there is a target for every card of every set.
func (s TargetSets) Whole(cards int) bool { return len(s)%cards == 0 }

// Smallest are the bytes of the cards of one set. Each is the smallest of its
// copies, since all of them get the same files. Folders are left out.
func (s TargetSets) Smallest(sets int) []int64 {
	per := len(s) / sets
	smallest := make([]int64, 0, per)
	for i, bytes := range s {
		switch {
		case bytes == 0:
		case i < per:
			smallest = append(smallest, bytes)
		case i%per < len(smallest):
			smallest[i%per] = min(smallest[i%per], bytes)
		}
	}
	return smallest
}

// Together are the targets, by index, that are written in one go: copies of one
// card, whose packages are read once. A folder is written alone.
func (s TargetSets) Together(cards int) [][]int {
	copies := make([][]int, cards)
	var groups [][]int
	for i, bytes := range s {
		if bytes == 0 {
			groups = append(groups, []int{i})
			continue
		}
		copies[i%cards] = append(copies[i%cards], i)
	}
	for _, c := range copies {
		if len(c) > 0 {
			groups = append(groups, c)
		}
	}
	return groups
}
