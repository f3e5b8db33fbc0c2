package windisk

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// maxNumber is the highest number of a drive that is believed.
const maxNumber = 9999

// Number is the number of a whole drive by its name on Windows, such as 2 in
// \\.\PhysicalDrive2.
func Number(path string) (int, bool) {
	rest, ok := devicePath(path)
	if !ok {
		return 0, false
	}
	digits, ok := cutPrefixFold(rest, "PhysicalDrive")
	if !ok || digits == "" || len(digits) > 4 || strings.Trim(digits, "0123456789") != "" {
		return 0, false
	}
	number, err := strconv.Atoi(digits)
	return number, err == nil && number <= maxNumber
}

// Letter is the letter of a volume by the name that people use: E in E: and in
// \\.\E:. With a backslash at its end, E:\ is a folder.
func Letter(path string) (byte, bool) {
	if rest, ok := devicePath(path); ok {
		path = rest
	}
	if len(path) != 2 || path[1] != ':' {
		return 0, false
	}
	c := path[0] &^ 0x20
	return c, c >= 'A' && c <= 'Z'
}

// IsDrive reports whether a path names a drive, and not a file or folder.
func IsDrive(path string) bool {
	_, number := Number(path)
	_, letter := Letter(path)
	return number || letter
}

// Path is a whole drive's name, by its number.
func Path(number int) string { return fmt.Sprintf(`\\.\PHYSICALDRIVE%d`, number) }

// VolumePath is the path by which a volume is opened: \\.\E: or \\?\Volume{…},
// without the backslash at its end that would make it a folder.
func VolumePath(name string) string {
	if letter, ok := Letter(name); ok {
		return `\\.\` + string(letter) + ":"
	}
	return strings.TrimSuffix(name, `\`)
}

// devicePath takes off \\.\ or \\?\, with slashes of either kind.
func devicePath(path string) (string, bool) {
	plain := strings.ReplaceAll(path, "/", `\`)
	for _, prefix := range []string{`\\.\`, `\\?\`} {
		if strings.HasPrefix(plain, prefix) {
			return plain[len(prefix):], true
		}
	}
	return "", false
}

func cutPrefixFold(s, prefix string) (string, bool) {
	if len(s) < len(prefix) || !strings.EqualFold(s[:len(prefix)], prefix) {
		return "", false
	}
	return s[len(prefix):], true
}

// Texts are the texts in a list of UTF-16 that ends with an empty one.
func Texts(list []uint16) []string {
	var texts []string
	for len(list) > 0 && list[0] != 0 {
		end := slices.Index(list, 0)
		if end < 0 {
			end = len(list)
		}
		texts = append(texts, string(utf16.Decode(list[:end])))
		list = list[min(end+1, len(list)):]
	}
	return texts
}
