package edit

import "slices"

// KeyOrder is the order of a mapping's keys in files that are made here. A key that
// is put into a file later goes behind the last of those that come before it.
type KeyOrder []string

// The order of the keys of every mapping that keys are put into: all keys that it
// may have.
var (
	ModelKeys = KeyOrder{
		"model", "maker", "name", "kind", "alike", "card", "route", "passes_on", "on_network", "version_from",
		"signing_key", "past_keys", "opens_archives", "downloads", "version_shown", "install", "restarts",
		"leave_alone", "checks", "if_it_fails", "settings_minutes", "releases", "history",
	}
	CardKeys    = KeyOrder{"least", "most", "file_systems", "slot", "folder", "at_power_up", "alone"}
	ReleaseKeys = KeyOrder{
		"version", "released", "withdrawn", "files", "touch", "variant", "over", "needs", "passed_on_by",
		"minutes", "way_back", "back_to", "back_settings", "settings", "after", "notes",
	}
	FileKeys   = KeyOrder{"name", "size", "sha256", "trust", "from", "added", "unpack", "members"}
	VesselKeys = KeyOrder{"vessel", "name", "formerly", "identity", "berth", "supply", "folders", "devices"}
	DeviceKeys = KeyOrder{"id", "model", "serial", "place", "version", "variant", "hold", "hold_why", "through"}
)

// before are the keys that come before one; none for a key that has no place.
func (o KeyOrder) before(key string) []string {
	return o[:max(0, slices.Index(o, key))]
}

// of are values in this order; those that are nil are left out.
func (o KeyOrder) of(values map[string]Value) Map {
	m := Map{}
	for _, key := range o {
		if v := values[key]; v != nil {
			m = append(m, Pair{key, v})
		}
	}
	return m
}
