package readers

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
)

// Some versions of the system's tools write a value as text, others as a number or
// a truth value. These types read all forms. A value that makes no sense counts as
// missing: one odd drive must not hide all others.

type text struct {
	value string
	there bool
}

func (t *text) UnmarshalJSON(raw []byte) error {
	var value any
	if err := json.Unmarshal(raw, &value); err != nil {
		return err
	}
	switch value := value.(type) {
	case nil:
		t.there = true
	case string:
		t.value, t.there = trimmed(value), true
	case float64:
		t.value, t.there = string(raw), true
	}
	return nil
}

type flag struct{ value, there bool }

func (f *flag) UnmarshalJSON(raw []byte) error {
	switch strings.ToLower(strings.Trim(string(raw), `"`)) {
	case "true", "1":
		f.value, f.there = true, true
	case "false", "0":
		f.value, f.there = false, true
	}
	return nil
}

type number struct {
	value int64
	there bool
}

func (n *number) UnmarshalJSON(raw []byte) error {
	digits := strings.Trim(string(raw), `"`)
	if digits == "null" || digits == "" {
		n.there = true // an empty slot
		return nil
	}
	value, err := strconv.ParseInt(digits, 10, 64)
	n.value, n.there = value, err == nil && value >= 0 && value <= maxBytes
	return nil
}

// missing are the names of those that aren't there, in order.
func missing(there map[string]bool) []string {
	var names []string
	for name, ok := range there {
		if !ok {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}
