package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest/pattern"
)

// evidence is the files next to a download that may vouch for it.
type evidence struct {
	base      string // the download's own name
	lists     []list
	signature *signatureFile  // of the download, in minisign's form; nil: none
	unchecked []signatureFile // of it or a list, in a form that can't be checked here
	siblings  []string        // names of the other files of the folder
	members   map[string]bool // of an archive: the names of the files in it, made loose
	notes     []string
}

// signatureFile is a signature next to what it signs.
type signatureFile struct {
	name string
	form string // "" where it is minisign's
	text []byte
}

// signatureEnd is what minisign puts behind the name of what it signs;
// signatureEnds are what other tools do. Common practice, no source.
const signatureEnd = ".minisig"

var signatureEnds = []string{signatureEnd, ".asc", ".sig", ".sign", ".signature", ".gpg", ".pgp", ".p7s", ".p7m", ".p7b", ".sigstore", ".sigstore.json", ".cosign", ".sshsig"}

// The names of lists: words of theirs, and endings that such a name may have
// behind them. Common practice, no source.
var (
	listWords = pattern.Of(`(?i)check-?_? ?sums?|chksums?|cksums?|digests?|(?:^|[^a-z])hash(?:es)?(?:$|[^a-z])|(?:^|[^a-z])sums?(?:$|[^a-z])|\.meta4$|\.metalink$|\.sfv$`)
	listTails = pattern.Of(`(?i)^(?:txt|text|asc|csv|tsv|json|xml|md|log|html?|lst|list|sums?|sig|meta4|metalink|ya?ml|sfv)$`)
	listEnd   = pattern.Of(`(?i)[._-]?(?:(?:sha-?_?(?:1|2|3|224|256|384|512)(?:[-_]?(?:224|256|384|512))?|md5|crc-?32|blake[23][bs]?(?:-?\d{3})?|b[23]|rmd160|ripemd160|whirlpool)(?:-?_?sums?)?|check-?sums?|chksums?|digests?|hash(?:es)?|sums?|sfv|meta4|metalink)(?:\.(?:txt|text|asc|csv|json|xml|md|sums?))?$`)
)

// isListName reports whether a file is named as lists of digests are.
func isListName(name string) bool {
	words := strings.NewReplacer(".", " ", "_", " ").Replace(name)
	if len(kindsIn(words)) == 0 && !listWords.MatchString(name) {
		return false
	}
	tail := strings.TrimPrefix(filepath.Ext(name), ".")
	return tail == "" || listTails.MatchString(tail) || len(kindsIn(tail)) > 0 || listWords.MatchString(tail) || strings.Contains(tail, " ")
}

// signedName is the name of the file that a signature signs, by its own name; ""
// where that isn't a signature's.
func signedName(name string) string {
	for _, end := range signatureEnds {
		if len(name) > len(end) && strings.EqualFold(name[len(name)-len(end):], end) {
			return name[:len(name)-len(end)]
		}
	}
	return ""
}

// readEvidence reads the lists and signatures next to a download. One that can't be
// read is an error: silence would look as if there were none.
func readEvidence(path, named string) (evidence, error) {
	e := evidence{base: filepath.Base(path)}
	dir := filepath.Dir(path)
	names, err := namesIn(dir)
	if err != nil {
		return e, fmt.Errorf("looking for lists and signatures beside the download: %w", err)
	}
	if len(names) == maxPackageFiles {
		e.notes = append(e.notes, fmt.Sprintf("its folder holds more than %d files: only those were searched for lists", maxPackageFiles))
	}
	e.siblings = slices.DeleteFunc(names, func(n string) bool { return n == e.base })
	if named != "" {
		if err := e.addNamed(named); err != nil {
			return e, err
		}
	} else if err := e.addLists(dir); err != nil {
		return e, err
	}
	return e, e.addSignatures(dir, named)
}

func namesIn(dir string) ([]string, error) {
	folder, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close() // opened for reading only
	names, err := folder.Readdirnames(maxPackageFiles)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	slices.Sort(names)
	return names, nil
}

// addNamed reads the list that the user named.
func (e *evidence) addNamed(path string) error {
	data, err := readSmall(path, MaxListBytes)
	if err != nil {
		return fmt.Errorf("reading the list of digests: %w", err)
	}
	l, err := readList(filepath.Base(path), data)
	if err != nil {
		return err
	}
	l.path, l.byName = absolute(path), true
	e.lists = append(e.lists, l)
	return nil
}

func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return path
}

// addLists reads the lists of a folder: files with a list's name, and small texts
// that hold digests.
func (e *evidence) addLists(dir string) error {
	looked, left := 0, maxBesideBytes
	for _, name := range e.siblings {
		path := filepath.Join(dir, name)
		byName := isListName(name)
		if !byName {
			if looked++; looked > maxBeside {
				continue
			}
		}
		l, err := e.readBeside(path, name, byName, &left)
		if err != nil {
			return err
		}
		if l != nil {
			e.lists = append(e.lists, *l)
		}
	}
	if looked > maxBeside || left < 0 {
		e.notes = append(e.notes, "its folder holds many files: not all without a list's name were read")
	}
	return nil
}

// readBeside reads a file as a list; nil where it is none and isn't named as one.
// left is how many bytes of files without a list's name may still be read.
func (e *evidence) readBeside(path, name string, byName bool, left *int) (*list, error) {
	info, err := os.Stat(path)
	if err == nil && info.IsDir() || err != nil && !byName {
		return nil, nil
	}
	if err == nil && !byName {
		if !info.Mode().IsRegular() || info.Size() == 0 || info.Size() > MaxListBytes || strings.HasPrefix(name, ".") {
			return nil, nil
		}
		if *left -= int(info.Size()); *left < 0 {
			return nil, nil
		}
	}
	if err == nil && !info.Mode().IsRegular() || errors.Is(err, fs.ErrNotExist) {
		return &list{name: name, path: absolute(path), byName: true, odd: "not a plain file"}, nil
	}
	data, err := readSmall(path, MaxListBytes)
	if err != nil {
		if !byName {
			return nil, nil // nothing says that it is one
		}
		return nil, fmt.Errorf("reading the list of digests: %w", err)
	}
	if signedName(name) != "" && signatureForm(name, data) != notSigned {
		return nil, nil
	}
	l, err := readList(name, data)
	if err != nil && byName {
		return nil, err
	}
	if !byName && (err != nil || len(l.entries) == 0) {
		return nil, nil
	}
	l.path, l.byName = absolute(path), byName
	return &l, nil
}

// notSigned is the form of a file that holds no signature, whatever its name.
const notSigned = "not a signature"

// signatureForm is what a signature file holds: "" for minisign's form.
func signatureForm(name string, data []byte) string {
	text, _ := textOf(data)
	text = strings.TrimSpace(text)
	switch {
	case strings.EqualFold(filepath.Ext(name), signatureEnd), strings.HasPrefix(text, "untrusted comment:"):
		if lines := strings.Split(text, "\n"); len(lines) == 2 && !strings.EqualFold(filepath.Ext(name), signatureEnd) {
			return "a signify signature"
		}
		return ""
	case strings.Contains(text, "-----BEGIN PGP SIGNED MESSAGE-----"):
		return notSigned // a list, within its signature
	case strings.Contains(text, "-----BEGIN PGP "), len(data) > 0 && len(text) == 0 && bytes.IndexByte([]byte{0x88, 0x89, 0x8a, 0xc2, 0x90, 0xc4, 0xa3}, data[0]) >= 0:
		return "an OpenPGP signature"
	case strings.Contains(text, "-----BEGIN SSH SIGNATURE"):
		return "an SSH signature"
	}
	if l, err := readList(name, data); err == nil && len(l.entries) > 0 {
		return notSigned
	}
	return "a signature"
}

// addSignatures reads the signatures of the download and of its lists.
func (e *evidence) addSignatures(dir, named string) error {
	for _, name := range e.siblings {
		of := signedName(name)
		if of == "" || !e.concerns(of) {
			continue
		}
		s, err := readSignature(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		if s == nil {
			continue
		}
		e.addSignature(of, s)
	}
	if named == "" || filepath.Dir(absolute(named)) == absolute(dir) {
		return nil
	}
	s, err := readSignature(named + signatureEnd)
	if s != nil {
		e.addSignature(filepath.Base(named), s)
	}
	return err
}

// concerns reports whether a signature of a file of this name is of use here: of the
// download or one of its lists.
func (e *evidence) concerns(of string) bool {
	return looseName(of) == looseName(e.base) || looseName(of) == looseName(stem(e.base)) || slices.ContainsFunc(e.lists, func(l list) bool { return looseName(l.name) == looseName(of) })
}

func stem(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }

func (e *evidence) addSignature(of string, s *signatureFile) {
	if s.form != "" {
		e.unchecked = append(e.unchecked, *s)
		return
	}
	for i := range e.lists {
		if l := &e.lists[i]; looseName(l.name) == looseName(of) {
			l.signature = s
			return
		}
	}
	if e.signature == nil || strings.EqualFold(s.name, e.base+signatureEnd) {
		e.signature = s
	}
}

// readSignature reads a signature file; nil where there is none.
func readSignature(path string) (*signatureFile, error) {
	minisigned := strings.EqualFold(filepath.Ext(path), signatureEnd)
	most := MaxListBytes
	if minisigned {
		most = maxSignature
	}
	text, err := readSmall(path, most)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the signature: %w", err)
	}
	form := signatureForm(path, text)
	if form == notSigned {
		return nil, nil
	}
	if form == "" && len(text) > maxSignature {
		return nil, fmt.Errorf("reading the signature: %s has more than %d bytes", path, maxSignature)
	}
	return &signatureFile{filepath.Base(path), form, text}, nil
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

// usual are the kinds of digest to compute while a download is read: the likeliest
// of each digest in the lists.
func (e *evidence) usual() (all []kind) {
	for _, l := range e.lists {
		for _, x := range l.entries {
			if !slices.Contains(all, x.kinds[0]) {
				all = append(all, x.kinds[0])
			}
		}
	}
	return all
}

// owned is the name of the file that a list is named for, or "".
func owned(list string) string {
	for _, name := range []string{list, stem(list)} {
		if at := listEnd.FindStringIndex(name); at != nil && at[0] > 0 {
			return name[:at[0]]
		}
	}
	return ""
}

// isOwn reports whether a list is the download's own: named for it, and for no other
// file of the folder.
func (e *evidence) isOwn(l *list) bool {
	of := looseName(owned(l.name))
	switch of {
	case "":
		rest := strings.Replace(looseName(l.name), looseName(e.base), "", 1)
		return rest != looseName(l.name) && isListName(strings.Trim(rest, "_-."))
	case looseName(e.base):
		return true
	case looseName(stem(e.base)):
		return !slices.ContainsFunc(e.siblings, func(n string) bool { return e.shares(n, of) })
	}
	return false
}

// shares reports whether another file of the folder, neither list nor signature, has
// this name apart from its ending.
func (e *evidence) shares(name, of string) bool {
	return looseName(name) == of || looseName(stem(name)) == of && !isListName(name) && signedName(name) == ""
}

// isOthers reports whether a list is named for another file of the folder.
func (e *evidence) isOthers(l *list) bool {
	of := looseName(owned(l.name))
	return of != "" && !e.isOwn(l) && slices.ContainsFunc(e.siblings, func(n string) bool { return e.shares(n, of) })
}
