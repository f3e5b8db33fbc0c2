package intake

import (
	"cmp"
	"fmt"
	"io"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"aead.dev/minisign"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/media"
)

// statement is what one list says of one file.
type statement struct {
	matches  []listed // digests that fit
	by       []kind   // the kinds by which they fit
	fails    []listed // that don't fit
	unknown  []listed // of a kind that can't be computed here
	near     nearness
	several  bool   // different digests of one kind for one name
	named    string // the file's name isn't in the list, but its digest is, for this one
	namedBy  kind
	concerns bool // the list has its name
}

// strong reports whether a digest that fits is of a strong kind.
func (s statement) strong() bool {
	return slices.ContainsFunc(s.by, func(k kind) bool { return k.traits().strong })
}

// statementOn finds out what a list says of a file.
func (e *evidence) statementOn(l *list, f *subject) (statement, error) {
	var s statement
	group, near := l.about(f)
	if near < byName && f.names[0] == e.base && e.isOwn(l) && sameKindsOnce(l.entries) && !e.members[looseName(baseOf(l.entries[0].name))] {
		group, near = l.entries, byOwnList // whatever it calls the file
	}
	s.near, s.concerns = near, len(group) > 0
	for _, x := range group {
		if !slices.ContainsFunc(x.kinds, func(k kind) bool { return k.traits().hash != nil }) {
			s.unknown = append(s.unknown, x)
			continue
		}
		k, err := f.fitting(x)
		switch {
		case err != nil:
			return s, err
		case k != "":
			s.matches, s.by = append(s.matches, x), append(s.by, k)
		default:
			s.fails = append(s.fails, x)
		}
	}
	for _, x := range s.matches {
		s.several = s.several || slices.ContainsFunc(s.fails, func(y listed) bool { return x.kinds[0] == y.kinds[0] })
	}
	if len(group) == 0 {
		return s, e.underOtherName(l, f, &s)
	}
	return s, nil
}

// fitting is the kind by which a digest in a list is the file's, or "".
func (f *subject) fitting(x listed) (kind, error) {
	if k := f.sums.fitting(x.digest, x.kinds); k != "" {
		return k, nil
	}
	if err := f.sums.compute(x.kinds); err != nil {
		return "", err
	}
	return f.sums.fitting(x.digest, x.kinds), nil
}

// sameKindsOnce reports whether a list has one digest of each kind, and so is about
// one file.
func sameKindsOnce(all []listed) bool {
	for i, x := range all {
		if slices.ContainsFunc(all[:i], func(y listed) bool { return y.kinds[0] == x.kinds[0] && y.digest != x.digest || y.name != x.name }) {
			return false
		}
	}
	return len(all) > 0
}

// about are the digests in a list that are meant for a file the most surely.
func (l *list) about(f *subject) (group []listed, near nearness) {
	for _, x := range l.entries {
		switch n := l.nearnessOf(x, f); {
		case n == notMeant || n < near:
		case n > near:
			group, near = []listed{x}, n
		default:
			group = append(group, x)
		}
	}
	return group, near
}

// underOtherName looks for the file's digest where the list gives it another name,
// or none.
func (e *evidence) underOtherName(l *list, f *subject, s *statement) error {
	for _, x := range l.entries {
		k, err := f.fitting(x)
		if err != nil {
			return err
		}
		if k == "" {
			continue
		}
		if x.name == "" && k.traits().strong {
			s.matches, s.by, s.concerns = append(s.matches, x), append(s.by, k), true
			return nil
		}
		if s.named == "" || k.traits().strong && !s.namedBy.traits().strong {
			s.named, s.namedBy = x.name, k
		}
	}
	return nil
}

// vouching is what was found out about who vouches for a download.
type vouching struct {
	path     string
	words    problem.Words
	proofs   []Proof
	notes    []string
	lists    []*list          // that vouch for it with a strong digest
	unusable map[*list]string // and why
}

func (v *vouching) note(format string, args ...any) {
	v.notes = append(v.notes, fmt.Sprintf(format, args...))
}

// compareLists compares a file with every list next to it.
func (e *evidence) compareLists(v *vouching, f *subject) error {
	for i := range e.lists {
		l := &e.lists[i]
		s, err := e.statementOn(l, f)
		if err != nil {
			return err
		}
		if err := e.takeStatement(v, l, f, s); err != nil {
			return err
		}
	}
	return nil
}

// takeStatement counts what one list says of a file: as proof, as a reason to
// refuse it, or as nothing.
func (e *evidence) takeStatement(v *vouching, l *list, f *subject, s statement) error {
	switch {
	case s.several:
		v.note("%s gives different digests for %s (%s): without the folder none of them counts", l.name, f.names[0], namesOf(s))
	case len(s.fails) > 0:
		return contradicted(v.path, l, f, s)
	case l.odd != "":
		e.setUnusable(v, l, f, s, l.odd)
	case len(s.matches) > 0:
		e.countList(v, l, s)
	case s.named != "" && s.namedBy.traits().strong && f.any:
		e.countList(v, l, statement{matches: []listed{{}}, by: []kind{s.namedBy}})
	case s.named != "" && s.namedBy.traits().strong:
		named := baseOf(s.named)
		return &Refused{Path: v.path, What: "a file under another name than was published", Problem: problem.Problem{Found: "the name " + f.names[len(f.names)-1], Expected: "in " + l.name + ": " + named, Advice: "take it in under that name with " + v.words.For(NameItSo, media.ShellWord(named))}}
	case len(s.unknown) > 0:
		e.setUnusable(v, l, f, s, "its digest can't be computed here: "+string(s.unknown[0].kinds[0]))
	case s.named != "":
		e.setUnusable(v, l, f, s, "its "+string(s.namedBy)+" matches, but under the name "+s.named)
	default:
		e.setUnusable(v, l, f, s, l.whyUnusable(f))
	}
	return nil
}

func namesOf(s statement) string {
	var all []string
	for _, x := range append(slices.Clone(s.matches), s.fails...) {
		if n := cmp.Or(strings.TrimSpace(x.name), strings.TrimSpace(x.text)); !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	if len(all) > shownMembers {
		all = append(all[:shownMembers], "…")
	}
	return strings.Join(all, ", ")
}

// contradicted refuses a file for which a list gives another digest.
func contradicted(path string, l *list, f *subject, s statement) error {
	var found, expected []string
	for _, x := range s.fails[:min(len(s.fails), shownMembers)] {
		kinds := make([]string, 0, len(x.kinds))
		for _, k := range x.kinds {
			kinds = append(kinds, string(k))
		}
		if x.kinds[0] == kindOfName(l.name) {
			kinds = kinds[:1] // the list's own name says which
		}
		digest := x.kinds[0]
		if sum := f.sums.others[digest]; digest != sha256Kind && sum != "" {
			found = append(found, string(digest)+" "+sum)
		}
		expected = append(expected, strings.Join(kinds, " or ")+" "+x.digest)
	}
	found = append(found, f.sums.sha256.Named())
	what := "not the file that was published"
	if len(s.matches) > 0 {
		what += ": its list contradicts itself"
	}
	return &Refused{
		Path: path, What: what, Problem: problem.Problem{
			Found: strings.Join(slices.Compact(found), ", "), Expected: "in " + l.name + " for " + f.names[0] + ": " + strings.Join(slices.Compact(expected), ", "),
			Advice: "download the file and the list again; move a list of other files to another folder",
		},
	}
}

// countList counts a list that has the right digest as proof.
func (e *evidence) countList(v *vouching, l *list, s statement) {
	if !s.strong() {
		v.proofs = append(v.proofs, Proof{"the " + string(s.by[0]) + " in " + l.name, manifest.TrustOurs})
		v.note("the %s in %s matches: that kind of digest shows an accident, not an attack", s.by[0], l.name)
		return
	}
	v.lists = append(v.lists, l)
	v.proofs = append(v.proofs, Proof{"the maker's list " + l.name, manifest.TrustMaker})
	if s.near == byOwnList && s.matches[0].name != "" {
		v.note("%s calls it %s", l.name, strings.TrimSpace(s.matches[0].name))
	}
	if k := s.by[slices.IndexFunc(s.by, func(k kind) bool { return k.traits().strong })]; k != sha256Kind {
		v.note("the digest in %s is its %s", l.name, k)
	}
}

// setUnusable notes why a list is of no use for a download. A text without a list's
// name is a list only where it names the file.
func (e *evidence) setUnusable(v *vouching, l *list, f *subject, s statement, why string) {
	if f.names[0] != e.base || e.isOthers(l) || !l.byName && !s.concerns {
		return
	}
	v.unusable[l] = why
}

// foundInstead is what there is where nothing vouches: why the lists are of no use,
// or else what was noted.
func (v *vouching) foundInstead() string {
	var why []string
	for l, w := range v.unusable {
		why = append(why, l.name+": "+w)
	}
	if len(why) == 0 {
		return strings.Join(v.notes, "; ")
	}
	slices.Sort(why)
	slices.Sort(why)
	return strings.Join(why, "; ")
}

// noteUnusable reports lists that can't be used.
func (e *evidence) noteUnusable(v *vouching) {
	for i := range e.lists {
		if why := v.unusable[&e.lists[i]]; why != "" {
			v.note("a list beside it says nothing usable about this file: %s: %s", e.lists[i].name, why)
		}
	}
}

// whyUnusable is why a list says nothing of a file.
func (l *list) whyUnusable(f *subject) string {
	var others []string
	for _, x := range l.entries {
		if n := baseOf(x.name); n != "" && !slices.Contains(others, n) {
			if others = append(others, n); len(others) > shownMembers {
				break
			}
		}
	}
	switch {
	case slices.ContainsFunc(f.names, func(n string) bool { return hasWord(strings.ToLower(l.text), strings.ToLower(n)) }):
		return "it names the file, without a digest that can be read"
	case l.longLine:
		return fmt.Sprintf("it has lines of more than %d bytes", maxListLine)
	case len(l.entries) == 0:
		return "there is no digest in it"
	case len(others) == 0:
		return "its digests have no names"
	case len(others) > shownMembers:
		others[shownMembers] = "…"
	}
	return "it only names " + strings.Join(others, ", ")
}

// checkSignature verifies a signature against any of the keys.
func checkSignature(path, what string, hashed *minisign.Reader, whole func() ([]byte, error), signature []byte, keys []string) (*Proof, error) {
	if signature == nil || len(keys) == 0 {
		return nil, nil
	}
	var s minisign.Signature
	if err := s.UnmarshalText(signature); err != nil {
		return nil, &Refused{Path: path, What: what + ": no signature in it", Problem: problem.Problem{Found: err.Error(), Expected: "a signature as minisign writes it", Advice: "download the signature again"}}
	}
	another := true
	for _, text := range keys {
		var key minisign.PublicKey
		if err := key.UnmarshalText([]byte(text)); err != nil {
			continue // manifest has checked its form; a key that is none signs nothing
		}
		another = another && key.ID() != s.KeyID
		if ok, err := verifySignature(key, s.Algorithm, hashed, whole, signature); ok || err != nil {
			return &Proof{"the maker's signature " + what, manifest.TrustMaker}, err
		}
	}
	found, advice := what+", by the maker's key, for other bytes", "download both again"
	if another {
		found, advice = what+", by a key with the id "+fmt.Sprintf("%X", s.KeyID)+", which isn't the maker's", "download both again; compare the key with the maker's"
	}
	return nil, &Refused{Path: path, What: "not what was signed", Problem: problem.Problem{Found: found, Expected: "a signature of this very file by the maker's key", Advice: advice}}
}

func verifySignature(key minisign.PublicKey, algorithm uint16, hashed *minisign.Reader, whole func() ([]byte, error), signature []byte) (bool, error) {
	if algorithm == minisign.HashEdDSA {
		return hashed.Verify(key, signature), nil
	}
	content, err := whole()
	if err != nil {
		return false, err
	}
	return minisign.Verify(key, content, signature), nil
}

// listSignatures verifies the signatures of the lists that vouch for a file. Where
// the maker's key is known, a list that it didn't sign is somebody else's word.
func (v *vouching) listSignatures(maker string, keys []string) error {
	for _, l := range v.lists {
		var signature []byte
		if l.signature != nil {
			signature = l.signature.text
		}
		hashed := minisign.NewReader(strings.NewReader(string(l.data)))
		if _, err := io.Copy(io.Discard, hashed); err != nil {
			return err
		}
		whole := func() ([]byte, error) { return l.data, nil }
		p, err := checkSignature(v.path, l.name+signatureEnd, hashed, whole, signature, keys)
		switch {
		case err != nil:
			return err
		case p != nil:
			v.proofs = append(v.proofs, *p)
		case len(keys) > 0:
			i := slices.IndexFunc(v.proofs, func(p Proof) bool { return p.What == "the maker's list "+l.name })
			v.proofs[i] = Proof{"the list " + l.name, manifest.TrustSecond}
			v.note("%s is not signed by %s's key: it doesn't count as the maker's", l.name, maker)
		case l.signature != nil:
			v.note("%s was not checked: no key of %s is known", l.signature.name, maker)
		default:
			v.note("no known key has signed %s: it shows an accident, not an attack on both", l.name)
		}
	}
	return nil
}

// noteUnchecked reports signatures in forms that can't be verified here.
func (e *evidence) noteUnchecked(v *vouching) {
	for _, s := range e.unchecked {
		v.note("%s beside it is %s, which can't be checked here: check it with the tool that made it", s.name, s.form)
	}
	for i := range e.lists {
		if l := &e.lists[i]; l.clear {
			v.note("the OpenPGP signature in %s can't be checked here: check it with the tool that made it", l.name)
		}
	}
}

// bestTrust is the highest trust of any proof.
func bestTrust(proofs []Proof) string {
	for _, t := range manifest.Trusts {
		if slices.ContainsFunc(proofs, func(p Proof) bool { return p.Trust == t }) {
			return t
		}
	}
	return manifest.TrustOurs
}

// subjectOf is the download itself, under the names that a list may give it.
func (x *examination) subjectOf(found *Found) *subject {
	s := &subject{path: filepath.ToSlash(absolute(x.request.Path)), names: []string{x.base}, sums: &x.sums}
	if found.Member == "" {
		s.names, s.any = append(s.names, path.Base(found.Name)), found.Known != nil
	} else {
		s.any = true // what an archive is called is kept nowhere
	}
	return s
}

// compareListsInside compares a file of an archive with the lists next to the
// archive. A wrong digest refuses the archive. A right one vouches for it only
// where that file is the whole package.
func (e *evidence) compareListsInside(v *vouching, f *subject, whole bool) error {
	for i := range e.lists {
		l := &e.lists[i]
		s, err := e.statementOn(l, f)
		switch {
		case err != nil:
			return err
		case s.several:
			v.note("%s gives different digests for %s (%s): without the folder none of them counts", l.name, f.names[0], namesOf(s))
		case len(s.fails) > 0:
			return contradicted(v.path, l, f, s)
		case whole && l.odd == "" && len(s.matches) > 0 && !slices.Contains(v.lists, l):
			delete(v.unusable, l)
			e.countList(v, l, s)
		}
	}
	return nil
}
