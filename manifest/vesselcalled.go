package manifest

import (
	"slices"
	"strings"
	"unicode"
)

// VesselsCalled are the vessels that a word may mean: the one with this id, or that
// had it before; else those of this name or id, whatever the case and the
// characters between the words. More than one is for a person to tell apart.
func (s *Shop) VesselsCalled(word string) []*Vessel {
	plain := plainWords(word)
	for _, is := range []func(*Vessel) bool{
		func(v *Vessel) bool { return v.ID == word },
		func(v *Vessel) bool { return slices.Contains(v.Formerly, word) },
		func(v *Vessel) bool {
			return plain != "" && (plainWords(v.Name) == plain || plainWords(v.ID) == plain)
		},
	} {
		if found := slices.DeleteFunc(slices.Clone(s.Vessels), func(v *Vessel) bool { return !is(v) }); word != "" && len(found) > 0 {
			return found
		}
	}
	return nil
}

// plainWords are the words of a name in small letters, with one blank between.
func plainWords(name string) string {
	apart := func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.IsMark(r) }
	return strings.ToLower(strings.Join(strings.FieldsFunc(name, apart), " "))
}
