package intake

import (
	"archive/zip"
	"fmt"
	"path"
	"slices"
	"strings"

	"aead.dev/minisign"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media"
)

// vouch finds out who vouches for the download.
func (x *examination) vouch(found *Found) error {
	keys, err := x.keys(found)
	if err != nil {
		return err
	}
	v := &vouching{path: x.request.Path, words: x.request.Words, notes: x.evidence.notes, unusable: map[*list]string{}}
	if x.zip != nil {
		x.evidence.members = map[string]bool{}
		for _, m := range x.zip.File {
			x.evidence.members[looseName(baseOf(m.Name))] = true
		}
	}
	if err := x.evidence.compareLists(v, x.subjectOf(found)); err != nil {
		return err
	}
	for _, inside := range x.subjectsInside(found) {
		if err := x.evidence.compareListsInside(v, inside, found.Member != ""); err != nil {
			return err
		}
	}
	x.evidence.noteUnusable(v)
	if x.request.List != "" && len(v.proofs) == 0 {
		return x.refuse("a list that says nothing usable about this file", v.foundInstead(), "its digest in "+x.request.List, "name the right list, or leave out "+x.act(NameList))
	}
	if err := v.listSignatures(found.Model.Maker, keys); err != nil {
		return err
	}
	if err := x.signature(v, found, keys); err != nil {
		return err
	}
	x.evidence.noteUnchecked(v)
	p, err := x.typed(v, found)
	if err != nil {
		return err
	}
	if p != nil {
		v.proofs = append(v.proofs, *p)
	}
	found.Notes = append(found.Notes, v.notes...)
	found.Proofs, found.Trust, found.Shown = v.proofs, bestTrust(v.proofs), bestTrust(v.proofs)
	if found.Known != nil && (found.Trust == manifest.TrustOurs || moreTrusted(found.Known.Trust, found.Trust)) {
		found.Trust = found.Known.Trust // "" where nobody said: the digest isn't ours alone
	}
	return nil
}

// subjectsInside are the files of an archive that go onto the card: the member that
// is the package, or all of them.
func (x *examination) subjectsInside(found *Found) (all []*subject) {
	inside := func(name string, names []string, sum digest.SHA256) {
		s := &subject{path: name, names: names}
		s.sums = &digests{sha256: sum, more: func(kinds []kind) (map[kind]string, error) { return x.memberSums(name, sum, kinds) }}
		all = append(all, s)
	}
	if found.Member != "" {
		inside(found.Member, []string{baseOf(found.Member), path.Base(found.Name)}, found.SHA256)
	}
	for _, m := range found.Members {
		inside(m.Name, []string{baseOf(m.Name)}, m.SHA256)
	}
	if known := found.Known; known != nil {
		for _, m := range known.Members {
			inside(m.Name, []string{baseOf(m.Name)}, m.SHA256)
		}
	}
	return all
}

// memberSums are further digests of a member.
func (x *examination) memberSums(name string, sum digest.SHA256, kinds []kind) (map[kind]string, error) {
	if x.zip == nil {
		if err := x.unpack(); err != nil || x.zip == nil {
			return nil, err
		}
	}
	i := slices.IndexFunc(x.zip.File, func(m *zip.File) bool { return m.Name == name && unfit(m) == "" })
	if i < 0 {
		return nil, nil
	}
	in, err := x.zip.File[i].Open()
	if err != nil {
		return nil, fmt.Errorf("reading member %q: %w", name, err)
	}
	defer in.Close() // opened for reading only
	sums := newHashers(kinds)
	if _, err := copyAll(x.ctx, sums, in, nil); err != nil {
		return nil, fmt.Errorf("reading member %q: %w", name, err)
	}
	if all := sums.sums(); all[sha256Kind] == string(sum) {
		return all, nil
	}
	return nil, x.refuse("a download that is still being written", "a changed member "+name, "the member as first read", "wait until it is finished")
}

// signature verifies the signature of the download. Where the maker's key is known
// a missing one is reported: somebody may have removed it.
func (x *examination) signature(v *vouching, found *Found, keys []string) error {
	var text []byte
	name := x.base + signatureEnd
	if s := x.evidence.signature; s != nil {
		text, name = s.text, s.name
	}
	p, err := checkSignature(x.request.Path, name, x.hashed, x.inMemory, text, keys)
	if err != nil {
		return err
	}
	byKey := func(p Proof) bool { return strings.HasPrefix(p.What, "the maker's signature ") }
	switch {
	case p != nil:
		v.proofs = append(v.proofs, *p)
	case text != nil:
		v.note("the signature beside it was not checked: no key of %s is known; put the key under signing_key in the catalogue, or give %s", found.Model.Maker, x.act(GiveKey))
	case len(keys) > 0 && !slices.ContainsFunc(v.proofs, byKey):
		v.note("%s's key is known, but there is no signature by it: look for %s where the file was published", found.Model.Maker, x.base+signatureEnd)
	}
	return nil
}

// Got is what the catalogue should say of where a file that it has came from; ""
// leaves what it says. Trust and source stay together: a source with less trust is
// not written with stronger evidence.
func (f Found) Got() string {
	known := f.Known
	switch {
	case f.From != "" && moreTrusted(known.Trust, f.Shown):
		return ""
	case f.From != "" || known.From == "" || f.Trust == known.Trust:
		return f.From
	}
	i := slices.IndexFunc(f.Proofs, func(p Proof) bool { return p.Trust == f.Trust })
	if i < 0 {
		return ""
	}
	return f.Proofs[i].What
}

// moreTrusted reports whether what the catalogue says already counts for more.
func moreTrusted(known, now string) bool {
	i := slices.Index(manifest.Trusts, known)
	return i >= 0 && i < slices.Index(manifest.Trusts, now)
}

// keys are the maker's keys: the catalogue's, or the one given. A given one that
// differs replaces the catalogue's only with a reason.
func (x *examination) keys(found *Found) ([]string, error) {
	given, known := x.request.SigningKey, found.Model.SigningKey
	switch {
	case given == "" && known == "":
		return nil, nil
	case given == "":
		return []string{known}, nil
	case known == "" || sameKey(given, known):
		return []string{given}, nil
	case x.request.ReplaceKey == "":
		return nil, x.refuse("not the key that the catalogue has for "+found.Model.Maker, x.act(GiveKeySo, given), "signing_key: "+known+", as "+found.Model.ID+" has",
			"leave out "+x.act(GiveKey)+"; if the maker announces a new key in a place that you trust, say why with "+x.act(ReplaceKey))
	}
	found.NewKey = given
	return []string{given}, nil
}

func sameKey(a, b string) bool {
	var x, y minisign.PublicKey
	if x.UnmarshalText([]byte(a)) != nil || y.UnmarshalText([]byte(b)) != nil {
		return a == b
	}
	return x.Equal(y)
}

// inMemory is the whole download, for signatures of the older kind.
func (x *examination) inMemory() ([]byte, error) {
	if x.content.size > maxWholeSigned {
		return nil, x.refuse("a signature of the older kind on a large file", media.Bytes(x.content.size), "at most "+media.Bytes(maxWholeSigned), "ask the maker for a signature of the newer kind, or check it with minisign and give "+x.act(SayDigest))
	}
	content := make([]byte, x.content.size)
	_, err := x.file.ReadAt(content, 0)
	return content, err
}

// FromMaker is the source that makes a given digest count as the maker's own.
const FromMaker = "maker"

// typed compares the download with the digest that the user gave.
func (x *examination) typed(v *vouching, found *Found) (*Proof, error) {
	want := digest.SHA256(strings.ToLower(x.request.SHA256))
	byMaker := strings.EqualFold(strings.TrimSpace(x.request.From), FromMaker)
	if want == "" {
		if byMaker && bestTrust(v.proofs) != manifest.TrustMaker {
			v.note("%s %s says where it was got: without a digest or signature from %s nothing vouches for it", x.act(SayFrom), x.request.From, found.Model.Maker)
		}
		return nil, nil
	}
	if want != x.sums.sha256 && want != found.SHA256 {
		return nil, x.refuse("not the file with this digest", x.sums.sha256.Named(), want.Named(), "check the digest that was typed, and download the file again")
	}
	if byMaker {
		return &Proof{"the digest given, from the maker", manifest.TrustMaker}, nil
	}
	return &Proof{"the digest given, from " + x.request.From, manifest.TrustSecond}, nil
}
