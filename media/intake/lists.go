package intake

import (
	"encoding/hex"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"
)

// list has the digests that a list gives, by the name of the file.
type list struct {
	name    string // of the list itself
	entries []listed
}

type listed struct {
	file   string // "": the file that the list is named for
	digest string // 64 or 128 lower-case hex digits: SHA-256 or SHA-512
}

// The forms of a line, as the manual pages of coreutils' sha256sum (and its
// --tag) and of BSD's sha256 have them, and a digest on its own.
var (
	sumLine  = regexp.MustCompile(`^(\\?)([0-9a-fA-F]{64}|[0-9a-fA-F]{128}) [ *](.+)$`)
	tagLine  = regexp.MustCompile(`^(\\?)SHA(?:256|2-256|512|2-512) \((.+)\) ?= ?([0-9a-fA-F]{64}|[0-9a-fA-F]{128})$`)
	bareLine = regexp.MustCompile(`^([0-9a-fA-F]{64}|[0-9a-fA-F]{128})$`)
)

// readList reads a list of digests. Lines of other forms are left out: lists
// stand in mails, and between the lines of signatures.
func readList(name string, data []byte) (list, error) {
	l := list{name: name}
	if len(data) > MaxListBytes {
		return l, fmt.Errorf("reading %s: more than %d bytes, more than a list of digests has", name, MaxListBytes)
	}
	lines := strings.Split(strings.TrimPrefix(string(data), "\ufeff"), "\n")
	if len(lines) > MaxListLines {
		return l, fmt.Errorf("reading %s: more than %d lines", name, MaxListLines)
	}
	for _, line := range lines {
		line = strings.TrimRight(line, "\r")
		switch {
		case sumLine.MatchString(line):
			m := sumLine.FindStringSubmatch(line)
			l.add(m[1], m[3], m[2])
		case tagLine.MatchString(line):
			m := tagLine.FindStringSubmatch(line)
			l.add(m[1], m[2], m[3])
		case bareLine.MatchString(strings.TrimSpace(line)):
			l.add("", "", strings.TrimSpace(line))
		}
	}
	return l, nil
}

// add takes a line's parts; a backslash before it says that the name is
// escaped.
func (l *list) add(escaped, file, digest string) {
	if escaped != "" {
		file = strings.NewReplacer(`\\`, `\`, `\n`, "\n", `\r`, "\r").Replace(file)
	}
	l.entries = append(l.entries, listed{inOnePiece(path.Base(strings.ReplaceAll(file, `\`, "/"))), strings.ToLower(digest)})
	if file == "" {
		l.entries[len(l.entries)-1].file = ""
	}
}

// inOnePiece is a name with each accented letter as one character (Unicode's
// NFC): systems differ in how they store them.
func inOnePiece(name string) string { return norm.NFC.String(name) }

// of are the digests that the list gives for a file; a digest without a name
// is that of the file for which the list is named.
func (l *list) of(file string) (all []string) {
	file = inOnePiece(file)
	for _, e := range l.entries {
		if e.file == file || e.file == "" && strings.HasPrefix(inOnePiece(path.Base(l.name)), file+".") {
			all = append(all, e.digest)
		}
	}
	return all
}

// named is the file for which the list gives one of these digests, or "".
func (l *list) named(d digests) string {
	for _, e := range l.entries {
		if d.has(e.digest) {
			return e.file
		}
	}
	return ""
}

// digests of one file; sha512 is "" where nobody asked for it.
type digests struct{ sha256, sha512 string }

func (d digests) has(digest string) bool {
	return digest == d.sha256 || digest == d.sha512 && digest != ""
}

func hexOf(sum []byte) string { return hex.EncodeToString(sum) }

// The names under which makers publish lists of digests beside their files, and
// what they put behind a file's name for one of its own. Common practice, no
// source.
var (
	sharedLists = []string{
		"SHA256SUMS", "SHA512SUMS", "SHA256SUMS.txt", "SHA512SUMS.txt", "sha256sums.txt", "sha512sums.txt",
		"sha256sum.txt", "sha512sum.txt", "sha256.txt", "sha512.txt", "checksums.txt", "CHECKSUMS", "CHECKSUMS.txt",
	}
	listEnds = []string{".sha256", ".sha256sum", ".sha256.txt", ".sha512", ".sha512sum", ".sha512.txt"}
)

// listNames are the names that a list for a file may have.
func listNames(base string) []string {
	names := slices.Clone(sharedLists)
	for _, end := range listEnds {
		names = append(names, base+end)
	}
	return names
}
