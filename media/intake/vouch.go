package intake

import (
	"path"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
)

// vouch finds out what vouches for the download.
func (x *examination) vouch(found *Found) error {
	keys := x.keys(found.Model)
	names, known := []string{x.base, path.Base(found.Name)}, found.Known != nil
	if found.Member != "" { // what an archive is called is kept nowhere
		names, known = names[:1], true
	}
	proofs, err := x.evidence.listed(x.request.Path, names, known, x.sums)
	if err != nil {
		return err
	}
	if found.Member != "" {
		more, err := x.evidence.listed(x.request.Path, []string{path.Base(found.Member), path.Base(found.Name)}, found.Known != nil, digests{sha256: found.SHA256})
		if err != nil && len(proofs) == 0 {
			return err
		}
		proofs = append(proofs, more...)
	}
	dir := filepath.Dir(or(x.request.List, x.request.Path))
	if proofs, err = x.evidence.listSignatures(x.request.Path, proofs, dir, keys); err != nil {
		return err
	}
	p, err := signed(x.request.Path, x.base+signatureEnd, x.hashed, x.whole, x.evidence.signature, keys)
	if err != nil {
		return err
	}
	if p != nil {
		proofs = append(proofs, *p)
	} else if x.evidence.signature != nil {
		found.Notes = append(found.Notes, "the signature beside it was not checked: no key of "+found.Model.Maker+" is known; write it to signing_key in the catalogue, or give --signing-key")
	}
	if p, err = x.typed(found); err != nil {
		return err
	}
	if p != nil {
		proofs = append(proofs, *p)
	}
	found.Proofs, found.Trust = proofs, best(proofs)
	if found.Known != nil && (len(proofs) == 0 || better(found.Known.Trust, found.Trust)) {
		found.Trust = found.Known.Trust // "" where nobody said: the digest isn't ours alone
	}
	return nil
}

// better tells whether what the catalogue says already goes further.
func better(known, now string) bool {
	i := slices.Index(manifest.Trusts, known)
	return i >= 0 && i < slices.Index(manifest.Trusts, now)
}

func (x *examination) keys(model *manifest.Model) (keys []string) {
	for _, k := range []string{x.request.SigningKey, model.SigningKey} {
		if k != "" {
			keys = append(keys, k)
		}
	}
	return keys
}

// whole is the download's content, for signatures of the older kind.
func (x *examination) whole() ([]byte, error) {
	if x.size > MaxWholeSigned {
		return nil, x.refuse("a signature of the older kind on a large file", media.Bytes(x.size), "at most "+media.Bytes(MaxWholeSigned), "ask the maker for a signature of the newer kind, or check it with minisign and give --sha256")
	}
	content := make([]byte, x.size)
	_, err := x.file.ReadAt(content, 0)
	return content, err
}

// FromMaker is the word of --from by which a digest counts as the maker's own.
const FromMaker = "maker"

// typed compares with the digest that the user gave.
func (x *examination) typed(found *Found) (*Proof, error) {
	want := strings.ToLower(x.request.SHA256)
	if want == "" {
		return nil, nil
	}
	if want != x.sums.sha256 && want != found.SHA256 {
		return nil, x.refuse("not the file that has this digest", "SHA-256 "+x.sums.sha256, "SHA-256 "+want, "download it again, and compare what was typed")
	}
	if strings.EqualFold(x.request.From, FromMaker) {
		return &Proof{"the digest given, from the maker", manifest.TrustMaker}, nil
	}
	return &Proof{"the digest given, from " + x.request.From, manifest.TrustSecond}, nil
}
