package intake

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"aead.dev/minisign"

	"cardwright/manifest"
	"cardwright/media"
)

// evidence is what stands beside a download that may vouch for it.
type evidence struct {
	lists     []list
	signature []byte            // of the download; nil: none
	listSigns map[string][]byte // by the list's name, its signature
	sha512    bool              // some list has such a digest
}

// signatureEnd is what minisign puts behind the name of what it signs.
const signatureEnd = ".minisig"

// gather reads the lists and signatures beside a download. One that can't be
// read is an error: silence would look like nothing to compare with.
func gather(path, named string) (evidence, error) {
	e := evidence{listSigns: map[string][]byte{}}
	dir, base := filepath.Split(path)
	names := listNames(base)
	if named != "" {
		names, dir = []string{filepath.Base(named)}, filepath.Dir(named)
	}
	for _, name := range names {
		data, err := readSmall(filepath.Join(dir, name), MaxListBytes)
		if errors.Is(err, fs.ErrNotExist) && named == "" {
			continue
		}
		if err != nil {
			return e, fmt.Errorf("reading the list of digests: %w", err)
		}
		l, err := readList(name, data)
		if err != nil {
			return e, err
		}
		e.lists = append(e.lists, l)
		e.sha512 = e.sha512 || slices.ContainsFunc(l.entries, func(x listed) bool { return len(x.digest) == 128 })
		if e.listSigns[name], err = readSignature(filepath.Join(dir, name+signatureEnd)); err != nil {
			return e, err
		}
	}
	var err error
	e.signature, err = readSignature(path + signatureEnd)
	return e, err
}

// readSignature is nil where there is none.
func readSignature(path string) ([]byte, error) {
	text, err := readSmall(path, MaxSignature)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the signature: %w", err)
	}
	return text, nil
}

func readSmall(path string, most int) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a plain file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // opened for reading only
	data, err := io.ReadAll(io.LimitReader(f, int64(most)+1))
	if err == nil && len(data) > most {
		err = fmt.Errorf("%s has more than %d bytes", path, most)
	}
	return data, err
}

// listed compares a file, by its digests and the names that it may have, with
// the lists beside it. What the catalogue knows is known by its digest: a list
// that has it vouches for it under any name.
func (e *evidence) listed(path string, names []string, known bool, d digests) ([]Proof, error) {
	var proofs []Proof
	for _, l := range e.lists {
		var all []string
		for _, name := range names {
			all = append(all, l.of(name)...)
		}
		named := l.named(d)
		switch {
		case slices.ContainsFunc(all, d.has), len(all) == 0 && named != "" && known:
			proofs = append(proofs, Proof{"the maker's list " + l.name, manifest.TrustMaker})
		case len(all) > 0:
			return nil, &Refused{Path: path, What: "not the file that was published", Found: "SHA-256 " + d.sha256, Expected: "in " + l.name + ": " + strings.Join(all, ", "), Advice: "download it again, and the list with it"}
		case named != "":
			return nil, &Refused{Path: path, What: "a file under another name than was published", Found: "the name " + names[len(names)-1], Expected: "in " + l.name + ": " + named, Advice: "take it under that name with --name " + media.ShellWord(named)}
		}
	}
	return proofs, nil
}

// signed checks a signature by any of the keys.
func signed(path, what string, hashed *minisign.Reader, whole func() ([]byte, error), signature []byte, keys []string) (*Proof, error) {
	if signature == nil || len(keys) == 0 {
		return nil, nil
	}
	var s minisign.Signature
	if err := s.UnmarshalText(signature); err != nil {
		return nil, &Refused{Path: path, What: what + ": no signature in it", Found: err.Error(), Expected: "what minisign writes", Advice: "download the signature again"}
	}
	for _, text := range keys {
		var key minisign.PublicKey
		if err := key.UnmarshalText([]byte(text)); err != nil {
			continue // manifest has checked its form; a key that is none signs nothing
		}
		if ok, err := verified(key, s.Algorithm, hashed, whole, signature); ok || err != nil {
			return &Proof{"the maker's signature " + what, manifest.TrustMaker}, err
		}
	}
	return nil, &Refused{Path: path, What: "not what its signature says", Found: what + ", by a key with the id " + fmt.Sprintf("%X", s.KeyID), Expected: "a signature of this very file by the maker's key", Advice: "download both again; compare the key with the maker's"}
}

func verified(key minisign.PublicKey, algorithm uint16, hashed *minisign.Reader, whole func() ([]byte, error), signature []byte) (bool, error) {
	if algorithm == minisign.HashEdDSA {
		return hashed.Verify(key, signature), nil
	}
	content, err := whole()
	if err != nil {
		return false, err
	}
	return minisign.Verify(key, content, signature), nil
}

// listSignatures checks the signatures of the lists that vouch for a file.
func (e *evidence) listSignatures(path string, proofs []Proof, dir string, keys []string) ([]Proof, error) {
	all := proofs
	for _, l := range e.lists {
		if !slices.ContainsFunc(proofs, func(p Proof) bool { return strings.HasSuffix(p.What, " "+l.name) }) {
			continue
		}
		data, err := readSmall(filepath.Join(dir, l.name), MaxListBytes)
		if err != nil {
			return nil, fmt.Errorf("reading the list of digests: %w", err)
		}
		hashed := minisign.NewReader(strings.NewReader(string(data)))
		if _, err := io.Copy(io.Discard, hashed); err != nil {
			return nil, err
		}
		whole := func() ([]byte, error) { return data, nil }
		p, err := signed(path, l.name+signatureEnd, hashed, whole, e.listSigns[l.name], keys)
		if err != nil {
			return nil, err
		}
		if p != nil {
			all = append(all, *p)
		}
	}
	return all, nil
}

// best is the best of what vouches for a file.
func best(proofs []Proof) string {
	for _, t := range manifest.Trusts {
		if slices.ContainsFunc(proofs, func(p Proof) bool { return p.Trust == t }) {
			return t
		}
	}
	return manifest.TrustOurs
}
