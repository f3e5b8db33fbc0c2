package verify

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// pkg is a file of the catalogue, as it goes onto a card. Its path is the name
// that it has there.
type pkg struct {
	media.RecordFile
	model  *manifest.Model
	of     *manifest.Release
	source media.Source
}

func (p pkg) String() string { return fmt.Sprintf("%s of %s %s", p.Path, p.model.ID, p.of.Version) }

// catalogue is every package that a shop knows, and what a device could take
// for one.
type catalogue struct {
	byDigest map[digest.SHA256][]pkg
	past     map[digest.SHA256]pastFile // by digest
	packages media.Packages

	endings func() map[string]bool // of names of packages, known or wanted, in small letters
	names   func() map[string]bool // their names, by samename.Key
	sizes   func() map[uint64]bool
}

// pastFile is a file that a release had.
type pastFile struct {
	*manifest.Past
	model *manifest.Model
}

// pastOf is the file of a release that a file on a card was, before it was
// replaced or taken out. What the catalogue still has is none.
func (c catalogue) pastOf(f *file) (pastFile, bool) {
	past, ok := c.past[f.SHA256]
	return past, ok && f.SHA256 != "" && len(c.byDigest[f.SHA256]) == 0
}

// diagnosis is what it means that such a file stands on a card.
func (p pastFile) diagnosis() diagnosis {
	row := replaced
	if p.By == "" {
		row = takenOut
	}
	return row.meaningOf(p.Until.Format(time.DateOnly), p.Why)
}

func (p pastFile) words() string {
	if p.By == "" {
		return fmt.Sprintf("%s of %s %s, taken out on %s", p.File, p.model.ID, p.Version, p.Until.Format(time.DateOnly))
	}
	return fmt.Sprintf("%s of %s %s, replaced on %s", p.File, p.model.ID, p.Version, p.Until.Format(time.DateOnly))
}

// catalogueOf knows nothing of a shop that is nil.
func catalogueOf(shop *manifest.Shop, wanted []media.RecordFile) catalogue {
	c := catalogue{byDigest: map[digest.SHA256][]pkg{}, past: map[digest.SHA256]pastFile{}}
	if shop != nil {
		c.packages = media.PackagesOf(shop)
		for _, m := range shop.Models {
			c.add(m)
		}
	}
	all := func(take func(media.RecordFile)) {
		for _, pkgs := range c.byDigest {
			for _, p := range pkgs {
				take(p.RecordFile)
			}
		}
		for _, f := range wanted {
			take(f)
		}
	}
	c.endings = sync.OnceValue(func() map[string]bool {
		return collected(all, func(f media.RecordFile) string { return strings.ToLower(path.Ext(f.Path)) })
	})
	c.names = sync.OnceValue(func() map[string]bool {
		return collected(all, func(f media.RecordFile) string { return samename.Key(path.Base(f.Path)) })
	})
	c.sizes = sync.OnceValue(func() map[uint64]bool {
		return collected(all, func(f media.RecordFile) uint64 { return uint64(f.Size) })
	})
	return c
}

func collected[T comparable](all func(func(media.RecordFile)), of func(media.RecordFile) T) map[T]bool {
	set := map[T]bool{}
	all(func(f media.RecordFile) { set[of(f)] = true })
	return set
}

func (c catalogue) add(m *manifest.Model) {
	for _, past := range m.History {
		c.past[past.SHA256] = pastFile{past, m}
	}
	for _, r := range m.Releases {
		for _, f := range r.Files {
			s := media.SourceOf(m, r, f)
			c.byDigest[f.SHA256] = append(c.byDigest[f.SHA256], pkg{recordFile(f.Name, f.Size, f.SHA256), m, r, s})
			for _, member := range f.Members {
				s.Member = member.Name
				c.byDigest[member.SHA256] = append(c.byDigest[member.SHA256], pkg{recordFile(member.Name, member.Size, member.SHA256), m, r, s})
			}
		}
	}
}

func recordFile(name string, size manifest.Size, sha256 digest.SHA256) media.RecordFile {
	return media.RecordFile{Path: name, Size: int64(size), SHA256: sha256}
}

// of are the packages that a file is, by its digest.
func (c catalogue) of(f *file) []pkg {
	if f.SHA256 == "" {
		return nil
	}
	return c.byDigest[f.SHA256]
}

// saying says in words what the catalogue knows a file as, or "".
func (c catalogue) saying(f *file) string {
	var words []string
	for _, p := range c.of(f) {
		words = append(words, "this is "+p.String())
	}
	return strings.Join(words, "; ")
}

// named are the packages that a file of this name could be meant to be.
func (c catalogue) named(f *file) (found []pkg) {
	name := bareName(f.Path)
	for _, pkgs := range c.byDigest {
		for _, p := range pkgs {
			if strings.EqualFold(path.Base(p.Path), name) || strings.EqualFold(path.Base(p.source.Name), name) {
				found = append(found, p)
			}
		}
	}
	slices.SortFunc(found, func(a, b pkg) int { return strings.Compare(a.String(), b.String()) })
	return found
}

// browserMarks are what browsers add to names: " (1)" before the ending, and
// the endings of downloads that haven't ended (common practice, no source).
var browserMarks = pattern.Of(`(?i)( ?\(\d{1,3}\))|\.(part|partial|crdownload|download|tmp)$`)

// bareName is a file's name without what browsers add to it, in lower case.
func bareName(p string) string {
	return strings.ToLower(browserMarks.ReplaceAllString(path.Base(p), ""))
}

// passesForPackage reports whether a device might take a file for a package, by
// its ending.
func (c catalogue) passesForPackage(f *file) bool {
	ending := strings.ToLower(path.Ext(f.Path))
	if strings.HasPrefix(path.Base(f.Path), "._") && f.head() == appleDouble || samename.Same(f.Path, settingsOfWindows) && f.Size <= mostSettings {
		return false
	}
	return ending != "" && c.endings()[ending]
}
