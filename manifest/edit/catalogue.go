package edit

import (
	"fmt"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// NewFile is a file of a release, to be written to the catalogue; and what is
// known of the release, where that is new. Texts are as they stand in the file;
// "" leaves a key out.
type NewFile struct {
	Version  version.V
	Variant  string
	Released string // a day

	Name    string
	Size    int64
	SHA256  string
	Trust   string
	From    string
	Added   string // a day
	Unpack  string
	Members []NewMember

	Over, PassedOnBy string
	Needs            []NewNeed
	Minutes          string
	Settings         string
	After            []string
	Notes            string
}

// NewMember is a file inside an archive that is unpacked.
type NewMember struct {
	Name   string
	Size   int64
	SHA256 string
}

// NewNeed is a demand on another model.
type NewNeed struct{ Model, Version, By string }

// NameOf is the file of the shop folder in which something was written down.
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
			return f.Insert(way, f.Len(way...), n.file(), "version", "released")
		}
	}
	return f.Insert(Way{"releases"}, place(m.Releases, n.Version), n.release())
}

// place is where a version belongs among releases: newest first, unless they
// stand oldest first.
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

// Vouch writes down what vouches for a file that the catalogue has, and when
// the shop took it in.
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
				if err := f.Set(append(way[:len(way):len(way)], p.Key), p.Value, "name", "size", "sha256", "unpack", "members", "trust", "from"); err != nil {
					return err
				}
			}
			return nil
		}
	}
	return fmt.Errorf("changing %s: it doesn't have %s", f.name, known.Name)
}

func (n NewFile) file() Value {
	pairs := []Pair{
		{"name", n.Name},
		{"size", Plain(strconv.FormatInt(n.Size, 10))},
		{"sha256", n.SHA256},
		{"trust", orNil(n.Trust)},
		{"from", orNil(n.From)},
		{"added", plainOrNil(n.Added)},
	}
	if n.Unpack == "" {
		return Inline(pairs)
	}
	members := List{}
	for _, m := range n.Members {
		members = append(members, Inline{{"name", m.Name}, {"size", Plain(strconv.FormatInt(m.Size, 10))}, {"sha256", m.SHA256}})
	}
	return Map(append(pairs, Pair{"unpack", n.Unpack}, Pair{"members", members}))
}

func (n NewFile) release() Value {
	needs := List{}
	for _, need := range n.Needs {
		needs = append(needs, Inline{{"model", need.Model}, {"version", need.Version}, {"by", orNil(need.By)}})
	}
	after := List{}
	for _, a := range n.After {
		after = append(after, a)
	}
	return Map{
		{"version", string(n.Version)},
		{"released", Plain(n.Released)},
		{"files", List{n.file()}},
		{"variant", orNil(n.Variant)},
		{"over", orNil(n.Over)},
		{"needs", listOrNil(needs)},
		{"passed_on_by", orNil(n.PassedOnBy)},
		{"minutes", plainOrNil(n.Minutes)},
		{"settings", orNil(n.Settings)},
		{"after", listOrNil(after)},
		{"notes", orNil(strings.TrimSpace(n.Notes))},
	}
}

func orNil(s string) Value {
	if s == "" {
		return nil
	}
	return s
}

func plainOrNil(s string) Value {
	if s == "" {
		return nil
	}
	return Plain(s)
}

func listOrNil(l List) Value {
	if len(l) == 0 {
		return nil
	}
	return l
}
