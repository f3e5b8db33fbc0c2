package keys

import (
	"slices"
	"strings"
)

// mayRead is who may read a file on Windows by its access list, other than its
// owner, the system and administrators, who can take any right: their SIDs or
// SDDL's short names for them. sddl is the list in Microsoft's Security
// Descriptor Definition Language, as O:OWNER D:FLAGS(ACE)…; what can't be read
// there counts as somebody.
func mayRead(sddl, owner string) []string {
	_, list, ok := strings.Cut(sddl, "D:")
	if !ok || strings.HasPrefix(list, "NO_ACCESS_CONTROL") {
		return []string{"everybody"} // no list lets everybody
	}
	list, _, _ = strings.Cut(list, "S:") // what is only logged
	allowed := []string{owner, "SY", "BA", "S-1-5-18", "S-1-5-32-544", "OW", "S-1-3-4"}
	var others []string
	_, list, _ = strings.Cut(list, "(")
	for entry := range strings.SplitSeq(list, "(") {
		entry, _, _ = strings.Cut(entry, ")")
		fields := strings.Split(entry, ";") // kind;flags;rights;object;inherited object;who
		switch {
		case entry == "":
			continue
		case len(fields) < 6:
			others = append(others, "somebody unknown")
		case !strings.HasPrefix(fields[0], "A") && !strings.HasPrefix(fields[0], "XA"):
			continue // denies
		case strings.Contains(fields[1], "IO"):
			continue // for what is made below it
		case !slices.Contains(allowed, fields[5]):
			others = append(others, fields[5])
		}
	}
	return others
}
