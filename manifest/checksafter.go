package manifest

import "slices"

// usualChecks are the checks after an update where the catalogue names none, by
// kind (common practice, no source).
var usualChecks = map[Kind][]string{
	"chart display":      {"settings and waypoints", "position shown", "radar picture", "depth shown"},
	"radar":              {"radar picture"},
	"sounder":            {"depth shown"},
	"autopilot computer": {"dockside set-up", "rudder stops and centre", "compass swing", "heading against course", "automatic tuning"},
	"heading sensor":     {"compass swing", "heading against course"},
	"position sensor":    {"position shown", "heading against course"},
	"transponder":        {"targets shown", "position shown"},
}

// ChecksAfter are the checks that installing releases on a device of a kind makes
// necessary: those that the releases name, or else the usual ones. The version
// shown isn't among them: it is read in the step itself. A pilot is always let go
// of and taken back.
func ChecksAfter(kind Kind, installed []*Release) []string {
	var all []string
	if kind == "autopilot computer" {
		all = append(all, "manual steering")
	}
	named := false
	for _, r := range installed {
		named = named || len(r.After) > 0
		for _, check := range r.After {
			if !slices.Contains(all, check) {
				all = append(all, check)
			}
		}
	}
	if !named {
		all = append(all, usualChecks[kind]...)
	}
	return slices.DeleteFunc(all, func(check string) bool { return check == "version shown" })
}
