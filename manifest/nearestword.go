package manifest

import "strings"

// maxNearest is the longest word for which a near one is looked up, in bytes.
const maxNearest = 64

// nearest returns the candidate that word was most likely meant to be, or "".
// Slips of a key count: a letter too many, too few, wrong, or two swapped; a
// word may have one slip for every three letters, at most three.
func nearest(word string, candidates []string) string {
	if len(word) > maxNearest {
		return ""
	}
	best, fewest := "", min(len(word)/3, 3)+1
	for _, c := range candidates {
		if n := slips(strings.ToLower(word), strings.ToLower(c)); n < fewest {
			best, fewest = c, n
		}
	}
	return best
}

// slips is the optimal string alignment distance of two words.
func slips(a, b string) int {
	older, last := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range len(a) {
		row := make([]int, len(b)+1)
		row[0] = i + 1
		for j := range len(b) {
			wrong := last[j]
			if a[i] != b[j] {
				wrong++
			}
			row[j+1] = min(last[j+1]+1, row[j]+1, wrong)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], older[j-1]+1)
			}
		}
		older, last = last, row
	}
	return last[len(b)]
}
