package intake

import (
	"net/url"
	"path"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// subject is a file that a list may be about.
type subject struct {
	path  string   // on the disk, or in its archive; "/" between folders
	names []string // that it may have in a list
	sums  *digests
	any   bool // it is known by its digest alone: a list may call it anything
}

// nearness is how surely a digest in a list is meant for a file.
type nearness int

const (
	notMeant  nearness = iota
	inText             // the file's name is next to the digest, among other words
	loosely            // the name but for capitals, spaces and what addresses make of them
	byName             // the name itself, whatever its folder
	byFolder           // the name, in the folder where the file is
	byPlace            // the path from the list to the file
	byOwnList          // the list is that file's own
)

// inOnePiece is a name with each accented letter as one character (Unicode NFC):
// systems store them differently.
func inOnePiece(name string) string { return norm.NFC.String(name) }

// slashed is a path from a list of any system, with / between folders.
func slashed(name string) string {
	name = strings.ReplaceAll(strings.TrimSpace(inOnePiece(name)), `\`, "/")
	if scheme, rest, ok := strings.Cut(name, "://"); ok && !strings.Contains(scheme, "/") {
		name, _, _ = strings.Cut(rest, "?")
		name, _, _ = strings.Cut(name, "#")
	}
	for strings.HasPrefix(name, "./") {
		name = strings.TrimLeft(name[2:], "/")
	}
	return name
}

// baseOf is the last part of a path in a list.
func baseOf(name string) string {
	if name == "" {
		return ""
	}
	return path.Base(slashed(name))
}

// looseName is a name without what people and programs change: capitals, spaces,
// quotes, and the escapes of web addresses.
func looseName(name string) string {
	if plain, err := url.PathUnescape(name); err == nil {
		name = plain
	}
	return strings.ToLower(strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || strings.ContainsRune("\"'`*", r) {
			return -1
		}
		return r
	}, inOnePiece(name)))
}

// nearnessOf is how surely a digest of the list is meant for a file.
func (l *list) nearnessOf(e listed, s *subject) nearness {
	if e.name != "" {
		if n := l.nearnessByName(slashed(e.name), s); n > notMeant {
			return n
		}
	}
	if e.text == "" {
		return notMeant
	}
	text := strings.ToLower(inOnePiece(e.text))
	for _, name := range s.names {
		if hasWord(text, strings.ToLower(inOnePiece(name))) {
			return inText
		}
	}
	return notMeant
}

func (l *list) nearnessByName(name string, s *subject) nearness {
	if rel, err := filepath.Rel(filepath.Dir(l.path), filepath.FromSlash(s.path)); err == nil && inOnePiece(filepath.ToSlash(rel)) == path.Clean(name) {
		return byPlace
	}
	if strings.Contains(strings.TrimPrefix(name, "/"), "/") && strings.HasSuffix(inOnePiece(s.path), "/"+strings.TrimPrefix(path.Clean(name), "/")) {
		return byFolder
	}
	n := notMeant
	base := path.Base(name)
	for _, have := range s.names {
		switch have = inOnePiece(have); {
		case have == base || have == name:
			return byName
		case looseName(have) == looseName(base):
			n = loosely
		}
	}
	return n
}

// hasWord says whether a text has a name as a word of its own, and not
// within another name.
func hasWord(text, name string) bool {
	if name == "" {
		return false
	}
	for from := 0; ; {
		i := strings.Index(text[from:], name)
		if i < 0 {
			return false
		}
		from += i + len(name)
		if !joinsBefore(text[:from-len(name)]) && !joinsAfter(text[from:]) {
			return true
		}
	}
}

func joinsBefore(text string) bool {
	r, _ := utf8.DecodeLastRuneInString(text)
	return text != "" && (unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("._-+%~", r))
}

func joinsAfter(text string) bool {
	r, n := utf8.DecodeRuneInString(text)
	if text == "" {
		return false
	}
	if r == '.' || r == '-' {
		next, _ := utf8.DecodeRuneInString(text[n:])
		return unicode.IsLetter(next) || unicode.IsDigit(next)
	}
	return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(`_+%~/\`, r)
}
