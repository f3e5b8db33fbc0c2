package tables

import "strings"

// YesOrNo reads a cell of yes or no; an empty one is no. ok tells that it is one.
func YesOrNo(cell string) (yes, ok bool) {
	switch strings.ToLower(cell) {
	case "", "no", "n", "false":
		return false, true
	case "yes", "y", "true":
		return true, true
	}
	return false, false
}

// Words are the words of a cell, with spaces or commas between them.
func Words(cell string) []string { return strings.Fields(strings.ReplaceAll(cell, ",", " ")) }

// Parts are the parts of a cell between any of these characters, without
// the spaces round them.
func Parts(cell, between string) (parts []string) {
	for _, p := range strings.FieldsFunc(cell, func(r rune) bool { return strings.ContainsRune(between, r) }) {
		if p = strings.TrimSpace(p); p != "" {
			parts = append(parts, p)
		}
	}
	return parts
}
