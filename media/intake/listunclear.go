package intake

import (
	"cmp"
	"slices"
	"strings"

	"cardwright/manifest/pattern"
)

// record is what several lines say of one file, a key on each: its name, the kind,
// and digests.
type record struct {
	name    string
	kind    kind
	digests []listed
	keys    []string // of the digests
}

// endRecord adds the digests of the lines read so far as one record.
func (r *lineReader) endRecord() {
	for _, d := range r.record.digests {
		k := r.record.kind
		if len(d.kinds) > 0 {
			k = d.kinds[0]
		}
		if k.traits().digits != len(d.digest) {
			k = ""
		}
		r.add(r.record.name, cmp.Or(d.text, r.near), k, d.digest)
	}
	r.record = record{}
}

// token is a digest found in a line.
type token struct {
	digest   string // in hex digits
	kind     kind   // that is right before it
	from, to int    // with that word
}

var (
	hexRun    = pattern.Of(`[0-9A-Fa-f]{32,}`)
	base64Run = pattern.Of(`(?i)(sha-?(?:1|224|256|384|512))[-:=]\s*["']?([A-Za-z0-9+/]{27,86}={0,2})`)
)

// tokensIn are the digests in a line. Hex digits that are part of a name are none.
func tokensIn(line string) (all []token) {
	for _, at := range hexRun.FindAllStringIndex(line, -1) {
		from, to := at[0], at[1]
		if len(ofLength(to-from)) == 0 && to-from != 48 || !standsAlone(line[:from], line[to:]) {
			continue
		}
		t := token{digest: line[from:to], from: from, to: to}
		before := strings.TrimRight(strings.TrimSuffix(line[:from], "0x"), " \t:=-\"'({[>`")
		if words := kindsIn(before); len(words) > 0 && words[len(words)-1].to == len(before) {
			if w := words[len(words)-1]; mayBeginAfter(before[:w.from]) && w.kind.traits().digits == to-from {
				t.kind, t.from = w.kind, w.from
			}
		}
		all = append(all, t)
	}
	if len(all) > 0 {
		return all
	}
	for _, m := range base64Run.FindAllStringSubmatchIndex(line, -1) {
		words := kindsIn(line[m[2]:m[3]])
		if len(words) != 1 || !mayBeginAfter(line[:m[0]]) {
			continue
		}
		if digest := hexOfText(line[m[4]:m[5]], words[0].kind); len(digest) == words[0].kind.traits().digits && isHex(digest) {
			all = append(all, token{digest, words[0].kind, m[0], m[1]})
		}
	}
	return all
}

// mayBeginAfter reports whether a word may begin behind a text.
func mayBeginAfter(before string) bool {
	return before == "" || strings.ContainsRune(" \t,;|\"'`({[#?&@*>:=/", rune(before[len(before)-1]))
}

// standsAlone reports whether a run of hex digits between two texts is a word of
// its own.
func standsAlone(before, after string) bool {
	before = strings.TrimSuffix(before, "0x")
	if before != "" {
		switch b := before[len(before)-1]; {
		case b == '-':
			w := kindsIn(before[:len(before)-1])
			if len(w) == 0 || w[len(w)-1].to != len(before)-1 {
				return strings.TrimLeft(before, "-* \t") == ""
			}
		case isWordByte(b) || b == '.' || b == '/' || b == '\\' || b == '+' || b == '%':
			return false
		}
	}
	if after == "" {
		return true
	}
	switch after[0] {
	case '.', '-':
		return len(after) == 1 || after[1] == ' '
	}
	return !isWordByte(after[0]) && !strings.ContainsRune(`/\+=%@`, rune(after[0]))
}

// keyLine is a key and its value, with or without the marks of JSON and YAML.
var keyLine = pattern.Of(`^[-*•\s{]*["'\x60*]*([A-Za-z][A-Za-z0-9 _/().-]{0,60}?)["'\x60*]*\s*[:=]\s*(.*?),?$`)

// unclearLine reads a line whose form leaves something open.
func (r *lineReader) unclearLine(line string) {
	found := tokensIn(line)
	if len(found) == 0 {
		r.keyed(line)
		return
	}
	if r.tableRow(line) {
		return
	}
	if len(found) == 1 && r.keyedDigest(line, found[0]) {
		return
	}
	rest := line
	for i := len(found) - 1; i >= 0; i-- {
		rest = rest[:found[i].from] + "\t" + rest[found[i].to:]
	}
	var told kind
	rest, told = cutKind(rest)
	name := r.nameIn(rest)
	for _, t := range found {
		k := t.kind
		if k == "" && told.traits().digits == len(t.digest) {
			k = told
		}
		text := strings.TrimSpace(rest)
		if name == "" {
			text = strings.TrimSpace(text + " " + r.near)
		}
		r.add(name, text, k, t.digest)
	}
}

// keyed reads a line without a digest.
func (r *lineReader) keyed(line string) {
	m := keyLine.FindStringSubmatch(line)
	if m != nil {
		key, value := keyWord(m[1]), bareName(m[2])
		switch {
		case slices.Contains(nameKeys, key) && value != "":
			if r.record.name != "" {
				r.endRecord()
			}
			r.record.name = value
			return
		case slices.Contains(kindKeys, key):
			if all := kindsIn(m[2]); len(all) == 1 {
				if len(r.record.digests) > 0 {
					r.endRecord()
				}
				r.record.kind = all[0].kind
				return
			}
		}
	}
	r.remark(line)
}

// keyedDigest reads a line that is a key and a digest.
func (r *lineReader) keyedDigest(line string, t token) bool {
	before, after := strings.TrimRight(line[:t.from], " \t"), strings.Trim(line[t.to:], " \t,\"'`}")
	if after != "" {
		return false
	}
	key, isKey := "", false
	told := t.kind
	switch m := keyLine.FindStringSubmatch(line); {
	case t.kind != "" && strings.Trim(before, "-*•\"'` \t{") == "":
		key, isKey = string(t.kind), true
	case strings.Trim(before, "-*•\"'` \t") == "":
		isKey = true
	case m != nil:
		if told, isKey = digestKey(m[1]); told == "" {
			told = t.kind
		}
		key = keyWord(m[1])
	}
	if !isKey {
		return false
	}
	if slices.Contains(r.record.keys, key) {
		if r.record.name == "" && key == "" { // digests alone, a line each
			r.endRecord()
		} else if r.record.name != "" {
			r.endRecord()
		}
	}
	d := listed{digest: t.digest}
	if told != "" {
		d.kinds = []kind{told}
	}
	r.record.digests, r.record.keys = append(r.record.digests, d), append(r.record.keys, key)
	return true
}

var (
	inBrackets = pattern.Of(`^\s*\(([^()]*)\)\s*[:=]?\s*$`)
	numbers    = pattern.Of(`^\s*\d[\d.,]*(?:\s*(?:bytes|kB|MB|GB|KiB|MiB|GiB|B))?\s+|\s+\d[\d.,]*(?:\s*(?:bytes|kB|MB|GB|KiB|MiB|GiB|B))?\s*$`)
	startWords = pattern.Of(`(?i)^(?:(?:check ?sum|hash|digest|sum|value|of|for|file|the|is)\b[\s:=]*)+`)
)

// cutKind takes the word for a kind out of the text next to a digest, where it is
// apart from the name.
func cutKind(rest string) (string, kind) {
	padded := " " + rest + " "
	for _, w := range kindsIn(padded) {
		before, after := padded[w.from-1], padded[w.to]
		if strings.IndexByte(" \t([{,;|\"'`", before) >= 0 && strings.IndexByte(" \t)]},;|\"'`:=(", after) >= 0 {
			return strings.TrimSpace(padded[:w.from] + "\t" + padded[w.to:]), w.kind
		}
	}
	return rest, ""
}

// nameIn is the likeliest name in the text next to a digest.
func (r *lineReader) nameIn(rest string) string {
	if m := inBrackets.FindStringSubmatch(rest); m != nil {
		return bareName(m[1])
	}
	for _, comma := range []rune{'|', ',', ';', '\t'} {
		if !strings.ContainsRune(strings.Trim(rest, "\t |,;"), comma) {
			continue
		}
		var names []string
		for _, c := range cellsOf(rest, comma) {
			if c = bareName(numbers.ReplaceAllString(" "+c+" ", "")); c != "" && len(kindsIn(c)) == 0 || likeName.MatchString(c) {
				names = append(names, c)
			}
		}
		if i := slices.IndexFunc(names, func(n string) bool { return likeName.MatchString(n) }); i >= 0 {
			return names[i]
		}
		if len(names) > 0 {
			return names[0]
		}
	}
	rest = startWords.ReplaceAllString(strings.Trim(rest, " \t*|:="), "")
	if plain := bareName(numbers.ReplaceAllString(rest, "")); plain != "" {
		return plain
	}
	return bareName(rest)
}

// bareName is a name without what tables, letters and code put around it; "" where
// a narrow window cut off its end.
func bareName(text string) string {
	text = strings.Trim(text, " \t\"'`*|,;:=<>[]{}“”‘’")
	if strings.HasSuffix(text, "...") || strings.HasSuffix(text, "…") {
		return ""
	}
	return text
}
