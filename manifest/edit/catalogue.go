package edit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/version"
)

// NewFile is a file of a release, to be written to the catalogue; and what is
// known of the release, where that is new. Texts are as in the file;
// "" leaves a key out.
type NewFile struct {
	Version  version.V
	Variant  string
	Released string // a day

	Name    string
	Size    int64
	SHA256  digest.SHA256
	Trust   string
	From    string
	Added   string // a day
	Unpack  string
	Members []digest.File

	Over, PassedOnBy string
	Needs            []NewNeed
	Minutes, WayBack string
	BackTo           string
	BackSettings     string
	Settings         string
	After            []string
	Notes            string
	Touch            []string // files that a person touches on the device
}

// NewNeed is a demand on another model.
type NewNeed struct{ Model, Version, By string }

// NameOf is the name, from the shop folder, of the file that a place is in.
func NameOf(at manifest.Pos) string {
	if plain, err := strconv.Unquote(at.File); err == nil {
		return plain // the loader quotes names that are odd
	}
	return at.File
}

// AddFile writes a file into a model's catalogue: into its release, or with a
// new one among the others, in their order.
func AddFile(f *File, m *manifest.Model, n NewFile) error {
	for i, r := range m.Releases {
		if r.Variant == n.Variant && version.Compare(r.Version, n.Version) == 0 {
			way := Way{"releases", i, "files"}
			if err := f.Insert(way, f.Len(way...), n.file(), ReleaseKeys); err != nil {
				return err
			}
			return f.touch(i, r.Touch, append(slices.Clone(r.Touch), n.Touch...))
		}
	}
	return f.Insert(Way{"releases"}, place(m.Releases, n.Version), n.release(), ModelKeys)
}

// place is where a version belongs among releases: newest first, unless they
// are oldest first.
func place(all []*manifest.Release, v version.V) int {
	oldestFirst := len(all) > 1 && version.Compare(all[0].Version, all[len(all)-1].Version) < 0
	for i, r := range all {
		c := version.Compare(r.Version, v)
		if oldestFirst && c > 0 || !oldestFirst && c < 0 {
			return i
		}
	}
	return len(all)
}

// touch writes which of a release's files a person touches, where that changes.
func (f *File) touch(release int, was, is []string) error {
	if slices.Equal(was, is) {
		return nil
	}
	way := Way{"releases", release, "touch"}
	if len(was) > 0 {
		if err := f.Delete(way); err != nil {
			return err
		}
	}
	if len(is) == 0 {
		return nil
	}
	return f.Set(way, oneOrList(is), ReleaseKeys)
}

// Past is what the catalogue keeps of a file that a release has no longer.
type Past struct {
	Until, Why string
	By         digest.SHA256 // SHA-256 of what took its place; "": nothing did
}

// placeOf is where a model lists a file: its release, and its place there.
func placeOf(m *manifest.Model, file *manifest.File) (release, place int, ok bool) {
	for i, r := range m.Releases {
		if j := slices.Index(r.Files, file); j >= 0 {
			return i, j, true
		}
	}
	return 0, 0, false
}

// ReplaceFile puts another file in the place of one that a release has, and the
// one that it had into the model's history. What the release says of the file
// to be touched goes with it.
func ReplaceFile(f *File, m *manifest.Model, old *manifest.File, n NewFile, past Past) error {
	i, j, ok := placeOf(m, old)
	if !ok {
		return fmt.Errorf("changing %s: it doesn't have %s", f.name, old.Name)
	}
	way := Way{"releases", i, "files"}
	if err := f.Insert(way, j, n.file(), ReleaseKeys); err != nil {
		return err
	}
	if err := f.Delete(append(way, j+1)); err != nil {
		return err
	}
	is := slices.Clone(m.Releases[i].Touch)
	for k, t := range is {
		if t == old.Name {
			is[k] = n.Name
		}
	}
	if n.Unpack != "" || old.Unpack != "" { // its members were, or are, what is touched
		is = slices.DeleteFunc(is, func(t string) bool {
			return t == n.Name && n.Unpack != "" || slices.ContainsFunc(old.Members, func(m *manifest.Member) bool { return m.Name == t })
		})
	}
	if err := f.touch(i, m.Releases[i].Touch, append(is, n.Touch...)); err != nil {
		return err
	}
	return f.addToHistory(m.Releases[i], old, past)
}

// RemoveFile takes a file out of its release, into the model's history.
func RemoveFile(f *File, m *manifest.Model, old *manifest.File, past Past) error {
	i, j, ok := placeOf(m, old)
	if !ok {
		return fmt.Errorf("changing %s: it doesn't have %s", f.name, old.Name)
	}
	if err := f.Delete(Way{"releases", i, "files", j}); err != nil {
		return err
	}
	is := slices.DeleteFunc(slices.Clone(m.Releases[i].Touch), func(t string) bool {
		return t == old.Name || slices.ContainsFunc(old.Members, func(m *manifest.Member) bool { return m.Name == t })
	})
	if err := f.touch(i, m.Releases[i].Touch, is); err != nil {
		return err
	}
	return f.addToHistory(m.Releases[i], old, past)
}

// RemoveRelease takes a release out with all that it says, its files into the
// model's history.
func RemoveRelease(f *File, m *manifest.Model, r *manifest.Release, past Past) error {
	i := slices.Index(m.Releases, r)
	if i < 0 {
		return fmt.Errorf("changing %s: it doesn't have %s", f.name, r.Version)
	}
	if err := f.Delete(Way{"releases", i}); err != nil {
		return err
	}
	for _, old := range r.Files {
		if err := f.addToHistory(r, old, past); err != nil {
			return err
		}
	}
	return nil
}

// addToHistory writes a file of a release into the model's history, behind what is there.
func (f *File) addToHistory(r *manifest.Release, old *manifest.File, past Past) error {
	return f.Insert(Way{"history"}, f.Len("history"), Map{
		{"version", string(r.Version)},
		{"variant", orNil(r.Variant)},
		{"file", old.Name},
		{"size", Plain(strconv.FormatInt(int64(old.Size), 10))},
		{"sha256", string(old.SHA256)},
		{"until", Plain(past.Until)},
		{"why", past.Why},
		{"by", orNil(string(past.By))},
	}, ModelKeys)
}

// Vouch writes down whose digest a file of the catalogue has (its trust), where that
// was got, and when the shop took the file in.
func Vouch(f *File, m *manifest.Model, known *manifest.File, trust, from, added string) error {
	for i, r := range m.Releases {
		for j, have := range r.Files {
			if have != known {
				continue
			}
			way := Way{"releases", i, "files", j}
			for _, p := range []Pair{{"trust", orNil(trust)}, {"from", orNil(from)}, {"added", plainOrNil(added)}} {
				if p.Value == nil {
					continue
				}
				if err := f.Set(append(way[:len(way):len(way)], p.Key), p.Value, FileKeys); err != nil {
					return err
				}
			}
			return nil
		}
	}
	return fmt.Errorf("changing %s: it doesn't have %s", f.name, known.Name)
}

func (n NewFile) file() Value {
	var members List
	for _, m := range n.Members {
		members = append(members, Inline{{"name", m.Name}, {"size", Plain(strconv.FormatInt(m.Size, 10))}, {"sha256", string(m.SHA256)}})
	}
	file := map[string]Value{
		"name":   n.Name,
		"size":   Plain(strconv.FormatInt(n.Size, 10)),
		"sha256": string(n.SHA256),
		"trust":  orNil(n.Trust),
		"from":   orNil(n.From),
		"added":  plainOrNil(n.Added),
	}
	if n.Unpack == "" {
		return Inline(FileKeys.of(file))
	}
	file["unpack"], file["members"] = n.Unpack, members
	return FileKeys.of(file)
}

func (n NewFile) release() Value {
	var needs List
	for _, need := range n.Needs {
		needs = append(needs, Inline{{"model", need.Model}, {"version", need.Version}, {"by", orNil(need.By)}})
	}
	return ReleaseKeys.of(map[string]Value{
		"version":       string(n.Version),
		"released":      Plain(n.Released),
		"files":         List{n.file()},
		"touch":         oneOrList(n.Touch),
		"variant":       orNil(n.Variant),
		"over":          orNil(n.Over),
		"needs":         listOrNil(needs),
		"passed_on_by":  orNil(n.PassedOnBy),
		"minutes":       plainOrNil(n.Minutes),
		"way_back":      plainOrNil(n.WayBack),
		"back_to":       orNil(n.BackTo),
		"back_settings": orNil(n.BackSettings),
		"settings":      orNil(n.Settings),
		"after":         listOrNil(texts(n.After)),
		"notes":         orNil(strings.TrimSpace(n.Notes)),
	})
}

func orNil(s string) Value {
	if s == "" {
		return nil
	}
	return s
}

// trueOrNil leaves a key out where its value is no.
func trueOrNil(b bool) Value {
	if !b {
		return nil
	}
	return Plain("true")
}

func plainOrNil(s string) Value {
	if s == "" {
		return nil
	}
	return Plain(s)
}

// oneOrList is a list that may go without brackets where it has one entry.
func oneOrList(all []string) Value {
	if len(all) == 1 {
		return all[0]
	}
	return listOrNil(texts(all))
}

func texts(all []string) (list List) {
	for _, s := range all {
		list = append(list, s)
	}
	return list
}

func listOrNil(l List) Value {
	if len(l) == 0 {
		return nil
	}
	return l
}

// ReplaceKey gives a model another signing key, and keeps the one before with
// the day and why.
func ReplaceKey(f *File, m *manifest.Model, key, day, why string) error {
	past := Inline{{"key", m.SigningKey}, {"until", Plain(day)}, {"why", why}}
	if err := f.Insert(Way{"past_keys"}, len(m.PastKeys), past, ModelKeys); err != nil {
		return err
	}
	return f.Set(Way{"signing_key"}, key, ModelKeys)
}
