package intake

import (
	"cmp"
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest/pattern"
)

// list is what a list of digests says.
type list struct {
	name    string // of the list itself
	entries []listed
	odd     string // what it is, where it isn't a list: "a web page"; "" otherwise
	text    string // as it was read

	path      string // where it is
	data      []byte
	signature *signatureFile // of the list; nil: none
	byName    bool           // its name is that of a list
	clear     bool           // an OpenPGP signature is around it
	longLine  bool           // some lines are too long to be read
}

// listed is one digest of a list.
type listed struct {
	name   string // as the list writes it; "": it names no file
	text   string // the text next to the digest, where that need not be the name alone
	kinds  []kind // of which it may be, the likeliest first
	digest string // in lower-case hex digits
}

// The forms of a line that leave nothing open, as the manual pages of
// coreutils' sha256sum and cksum (and their --tag), of Perl's shasum, BSD's
// sha256 and OpenSSL's dgst have them.
var (
	sumLine = pattern.Of(`^(\\?)([0-9a-fA-F]{32,128}) [ *](.+)$`)
	tagLine = pattern.Of(`^(\\?)([A-Za-z][A-Za-z0-9/_-]{2,14}) ?\((.+)\) ?= ?([0-9a-fA-F]{8,128}|[A-Za-z0-9+/]{22,88}={0,2})$`)
)

// readList reads a list of digests in any form that people meet. Lines that are no
// part of one are skipped: people mail lists in letters, or publish them between
// the lines of signatures.
func readList(name string, data []byte) (list, error) {
	l := list{name: name, data: data}
	if len(data) > MaxListBytes {
		return l, fmt.Errorf("reading list %s: more than %d bytes", name, MaxListBytes)
	}
	text, ok := textOf(data)
	switch {
	case !ok:
		l.odd = "not a text"
		return l, nil
	case strings.TrimSpace(text) == "":
		l.odd = "empty"
		return l, nil
	case isPage(text):
		l.odd, text = "a web page instead of a list", visibleText(text)
	}
	l.text = text
	if l.odd == "" && l.readTree(text) {
		return l, nil
	}
	lines := strings.Split(text, "\n")
	if len(lines) > maxListLines {
		return l, fmt.Errorf("reading list %s: more than %d lines", name, maxListLines)
	}
	r := lineReader{list: &l, ofName: kindOfName(name)}
	for _, line := range rejoined(l.unsigned(lines)) {
		if len(line) > maxListLine {
			l.longLine = true
			continue
		}
		r.line(strings.TrimRight(line, " \t\f\v\x1a"), line)
		if len(l.entries) > maxListLines {
			return l, fmt.Errorf("reading list %s: more than %d digests", name, maxListLines)
		}
	}
	r.endRecord()
	return l, nil
}

// kindOfName is the kind in the name of a list: the last one in it.
func kindOfName(name string) kind {
	all := kindsIn(strings.ReplaceAll(name, ".", " "))
	if len(all) == 0 {
		return ""
	}
	return all[len(all)-1].kind
}

// unsigned takes off what a clear signature puts around a text and before its lines
// (RFC 9580 §7).
func (l *list) unsigned(lines []string) []string {
	start := slices.Index(lines, "-----BEGIN PGP SIGNED MESSAGE-----")
	if start < 0 {
		return lines
	}
	l.clear = true
	lines = lines[start+1:]
	if end := slices.Index(lines, "-----BEGIN PGP SIGNATURE-----"); end >= 0 {
		lines = lines[:end]
	}
	if head := slices.Index(lines, ""); head >= 0 {
		lines = lines[head:] // behind the names of its digests
	}
	plain := make([]string, len(lines))
	for i, line := range lines {
		plain[i] = strings.TrimPrefix(line, "- ")
	}
	return plain
}

var (
	onlyHex  = pattern.Of(`^\s+[0-9A-Fa-f]{2,128}(?:\s+[0-9A-Fa-f]{2,128})*$`)
	endsHex  = pattern.Of(`(?:^|[\s:=])([0-9A-Fa-f]{2,128})$`)
	inGroups = pattern.Of(`^(.*[:=]|)\s*([0-9A-Fa-f]{2,128}(?:\s+[0-9A-Fa-f]{2,128})+)$`)
	inBytes  = pattern.Of(`^(.*?[\s=(]|)((?:[0-9A-Fa-f]{2}[:-]){15,127}[0-9A-Fa-f]{2})$`)
	spaces   = pattern.Of(`[\s:-]+`)
)

// rejoined joins digests that are split over several lines, as narrow windows and
// GnuPG's --print-md do.
func rejoined(lines []string) []string {
	var out []string
	for _, line := range lines {
		if n := len(out); n > 0 && len(line)+len(out[n-1]) < maxListLine && onlyHex.MatchString(strings.TrimRight(line, " \t")) {
			if m := endsHex.FindStringSubmatch(strings.TrimRight(out[n-1], " \t")); m != nil && len(ofLength(len(m[1]))) == 0 {
				out[n-1] += " " + strings.TrimSpace(line)
				continue
			}
		}
		out = append(out, line)
	}
	return out
}

// ungrouped joins a digest that is written in groups of digits.
func ungrouped(line string) string {
	m := inBytes.FindStringSubmatch(line)
	if m == nil {
		m = inGroups.FindStringSubmatch(line)
	}
	if m == nil {
		return line
	}
	for _, group := range spaces.Split(m[2], -1) {
		if len(ofLength(len(group))) > 0 {
			return line
		}
	}
	if digest := spaces.ReplaceAllString(m[2], ""); len(ofLength(len(digest))) > 0 {
		return m[1] + " " + digest
	}
	return line
}

// lineReader reads the lines of a list, some of which say what the next ones are.
type lineReader struct {
	list    *list
	ofName  kind     // by the list's name
	heading kind     // of the last heading
	near    string   // a line without a digest: perhaps the name of what follows
	columns []string // of a table, from its first row
	comma   rune
	record  record
}

// likely are the kinds that a digest may be of, where its own line names none.
func (r *lineReader) likely(digest string) []kind {
	all := ofLength(len(digest))
	for _, k := range []kind{r.ofName, r.heading} {
		if d := k.traits(); d.digits == len(digest) && d.hash == nil {
			return []kind{k}
		} else if d.digits == len(digest) {
			all = append([]kind{k}, slices.DeleteFunc(all, func(o kind) bool { return o == k })...)
		}
	}
	return all
}

func (r *lineReader) add(name, text string, k kind, digest string) {
	e := listed{name: name, text: text, digest: strings.ToLower(digest)}
	switch {
	case k == "":
		e.kinds = r.likely(digest)
	case k.traits().digits == len(digest) || k.traits().digits == 0:
		e.kinds = []kind{k}
	}
	if len(e.kinds) > 0 {
		r.list.entries = append(r.list.entries, e)
	}
}

// sized is a name with a size before it, which some tools write.
var sized = pattern.Of(`^\s*\d+\s+\S`)

// unescaped is a name as coreutils means it: a backslash before the line says that
// the name is escaped.
func unescaped(mark, name string) string {
	if mark == "" {
		return name
	}
	return strings.NewReplacer(`\\`, `\`, `\n`, "\n", `\r`, "\r").Replace(name)
}

// line reads one line. raw still has its trailing blanks, which may be part of a
// name.
func (r *lineReader) line(line, raw string) {
	if m := sumLine.FindStringSubmatch(raw); m != nil && len(ofLength(len(m[2]))) > 0 {
		text := ""
		if sized.MatchString(m[3]) {
			text = m[3]
		}
		r.add(unescaped(m[1], m[3]), text, "", m[2])
		return
	}
	if m := tagLine.FindStringSubmatch(line); m != nil {
		if all := kindsIn(m[2]); len(all) == 1 {
			r.add(unescaped(m[1], m[3]), "", all[0].kind, hexOfText(m[4], all[0].kind))
			return
		}
	}
	line = strings.TrimSpace(ungrouped(line))
	switch {
	case line == "":
		r.endRecord()
	case strings.HasPrefix(line, "#") || strings.HasPrefix(line, ";") || strings.HasPrefix(line, "//") || strings.HasPrefix(line, "%%%%"):
		r.remark(strings.TrimLeft(line, "#;/% "))
	case r.crcLine(line):
	default:
		r.unclearLine(line)
	}
}

// hexOfText is a digest in hex digits; some tools write base64.
func hexOfText(text string, k kind) string {
	if digits := k.traits().digits; digits > 0 && len(text) != digits {
		if raw, err := base64.StdEncoding.DecodeString(text); err == nil && 2*len(raw) == digits {
			return hexOf(raw)
		}
	}
	return text
}

// crcLine reads a line of a list of CRC-32s. Only in such a list are eight digits a
// digest.
func (r *lineReader) crcLine(line string) bool {
	if r.ofName != "CRC-32" && r.heading != "CRC-32" {
		return false
	}
	fields := strings.Fields(line)
	last, first := fields[len(fields)-1], fields[0]
	switch {
	case len(fields) > 1 && isHex(last) && len(last) == crcDigits:
		r.add(strings.TrimSpace(strings.TrimSuffix(line, last)), "", "CRC-32", last)
	case isHex(first) && len(first) == crcDigits:
		r.add(strings.TrimSpace(strings.TrimPrefix(line, first)), "", "CRC-32", first)
	default:
		return false
	}
	return true
}

func isHex(text string) bool { return strings.Trim(text, "0123456789abcdefABCDEF") == "" }

// remark reads a line that only says what the lines after it are.
func (r *lineReader) remark(text string) {
	if !r.tableHead(text) {
		r.headingLine(text)
	}
}

// fillers are words of headings that tell nothing.
var fillers = pattern.Of(`(?i)\b(?:check ?sums?|sums?|hash(?:es)?|digests?|values?|of|for|the|files?|algorithm|type|is|message|fingerprint)\b`)

// headingLine reads a line without a digest: a heading, or the name of what
// follows.
func (r *lineReader) headingLine(text string) {
	all := kindsIn(text)
	rest := strings.Trim(fillers.ReplaceAllString(without(text, all), ""), " \t:=-*_[](){}<>|.,`'\"")
	if len(all) > 0 && (rest == "" || slices.IndexFunc(all, func(w mention) bool { return w.kind != all[0].kind }) < 0) {
		r.heading = all[0].kind
	}
	if rest != "" && likeName.MatchString(rest) {
		r.near = rest
	}
}

// likeName is what has an ending, as file names have.
var likeName = pattern.Of(`[^\s.]\.[A-Za-z0-9]{1,10}(?:$|[\s"'\x60)\]:,*])`)

// without cuts words out of a text.
func without(text string, all []mention) string {
	for i := len(all) - 1; i >= 0; i-- {
		text = text[:all[i].from] + " " + text[all[i].to:]
	}
	return text
}

// The keys of tables and records for names, kinds and digests.
var (
	nameKeys   = []string{"name", "file", "filename", "path", "filepath", "fullname", "target", "url", "href", "download", "downloadurl", "package", "image", "firmware", "asset", "artifact", "uri", "link", "src", "object"}
	kindKeys   = []string{"algorithm", "algo", "alg", "type", "method", "hashalgorithm", "hashtype", "digesttype", "checksumtype"}
	digestKeys = []string{"hash", "digest", "checksum", "sum", "hashvalue", "value", "filehash", "fingerprint", "integrity", "hashes", "digests", "checksums"}
)

// keyWord is a key in lower case, without what is written between its letters.
func keyWord(text string) string {
	return strings.ToLower(strings.Map(func(r rune) rune {
		if strings.ContainsRune(" _-\"'`*@", r) {
			return -1
		}
		return r
	}, text))
}

// digestKey says whether a key is that of a digest, and of which kind.
func digestKey(text string) (kind, bool) {
	if slices.Contains(digestKeys, keyWord(text)) {
		return "", true
	}
	all := kindsIn(text)
	if len(all) != 1 || strings.Trim(fillers.ReplaceAllString(without(text, all), ""), " \t\"'`*_-()[]") != "" {
		return "", false
	}
	return all[0].kind, true
}

// tableHead reads the first row of a table, which names its columns.
func (r *lineReader) tableHead(line string) bool {
	if len(tokensIn(line)) > 0 {
		return false
	}
	for _, comma := range []rune{',', ';', '\t', '|'} {
		cells := cellsOf(line, comma)
		digests := slices.ContainsFunc(cells, func(c string) bool { _, ok := digestKey(c); return ok })
		names := slices.ContainsFunc(cells, func(c string) bool { return slices.Contains(nameKeys, keyWord(c)) })
		if len(cells) > 1 && digests && names {
			r.columns, r.comma = cells, comma
			return true
		}
	}
	return false
}

// cellsOf are the cells of one row.
func cellsOf(line string, comma rune) []string {
	if comma == '|' {
		line = strings.Trim(line, "| ")
	}
	in := csv.NewReader(strings.NewReader(line))
	in.Comma, in.LazyQuotes, in.TrimLeadingSpace, in.FieldsPerRecord = comma, true, comma != '\t', -1
	cells, err := in.Read()
	if err != nil {
		cells = strings.Split(line, string(comma))
	}
	for i := range cells {
		cells[i] = strings.TrimSpace(cells[i])
	}
	return cells
}

// tableRow reads a row of a table whose columns are known.
func (r *lineReader) tableRow(line string) bool {
	cells := cellsOf(line, r.comma)
	if r.columns == nil || len(cells) != len(r.columns) {
		return false
	}
	var name string
	var told kind
	for i, c := range r.columns {
		switch word := keyWord(c); {
		case slices.Contains(nameKeys, word) && name == "":
			name = bareName(cells[i])
		case slices.Contains(kindKeys, word):
			if all := kindsIn(cells[i]); len(all) == 1 {
				told = all[0].kind
			}
		}
	}
	found := false
	for i, c := range r.columns {
		k, ok := digestKey(c)
		t := tokensIn(cells[i])
		if !ok || len(t) != 1 {
			continue
		}
		if k = cmp.Or(t[0].kind, k, told); k.traits().digits != len(t[0].digest) {
			k = ""
		}
		r.add(name, "", k, t[0].digest)
		found = true
	}
	return found
}
