package manifest

import (
	"errors"
	"regexp"
	"regexp/syntax"
)

// VersionIn finds the version in what a device of the model announces, by the
// model's version_from. The text is a stranger's; RE2 takes time in proportion
// to it.
func (m *Model) VersionIn(text string) (string, bool) {
	pattern, err := regexp.Compile(m.VersionFrom)
	if err != nil || pattern.NumSubexp() != 1 { // the loader refuses it
		return "", false
	}
	found := pattern.FindStringSubmatch(text)
	if found == nil || found[1] == "" {
		return "", false
	}
	return found[1], true
}

// versionPatternProblem says why a version_from can't be used, or "".
func versionPatternProblem(s string) string {
	pattern, err := regexp.Compile(s)
	var wrong *syntax.Error
	switch {
	case errors.As(err, &wrong):
		return "with an error in it: " + string(wrong.Code)
	case err != nil:
		return "with an error in it"
	case pattern.NumSubexp() != 1:
		return "with " + count(pattern.NumSubexp(), "group")
	}
	return ""
}
