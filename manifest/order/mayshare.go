package order

import (
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/samename"
)

// pack is a step's package as the card's rules see it.
type pack struct {
	release *manifest.Release
	model   *manifest.Model     // that the release is for
	rules   *manifest.CardRules // of the device that the card goes into
	itself  bool                // that device is the one it is for
}

// share reports whether one card can hold two packages (see doc.go); files that collide
// and the room on the card are left out.
func share(a, b pack) bool {
	if a.release == b.release {
		return sizesMeet(a.rules, b.rules)
	}
	return sizesMeet(a.rules, b.rules) && !a.rules.Alone && !b.rules.Alone && !bothInstall(a, b) && !bothFound(a, b)
}

// A card suits a device from 0.92 × `least` to 1.05 × `most`.
const (
	leastHundredths = 92
	mostHundredths  = 105
)

func sizesMeet(a, b *manifest.CardRules) bool {
	most, least := min(a.Most, b.Most), max(a.Least, b.Least)
	return float64(most)*mostHundredths >= float64(least)*leastHundredths
}

// bothInstall reports whether a device would find two packages at power-up.
func bothInstall(a, b pack) bool {
	return a.model == b.model && a.itself && b.itself && a.rules.AtPowerUp && b.rules.AtPowerUp
}

// bothFound reports whether a device would find two releases of one model in a
// fixed folder, or one below the other.
func bothFound(a, b pack) bool {
	folderA, fixedA := fixedFolder(a.rules)
	folderB, fixedB := fixedFolder(b.rules)
	return a.model == b.model && fixedA && fixedB && (samename.Within(folderA, folderB) || samename.Within(folderB, folderA))
}

// collide goes through the pairs of packages that have another file at the same
// fixed path, by number.
func collide(packs []pack, each func(n, m int)) {
	type file struct {
		pack   int
		digest digest.SHA256
	}
	at := map[string][]file{}
	for n, p := range packs {
		if p.rules == nil {
			continue
		}
		folder, fixed := fixedFolder(p.rules)
		if !fixed {
			continue
		}
		for _, f := range files(p.release) {
			path := samename.Key(folder + "/" + f.Name)
			for _, other := range at[path] {
				if other.digest != f.SHA256 {
					each(other.pack, n)
				}
			}
			at[path] = append(at[path], file{n, f.SHA256})
		}
	}
}

func fixedFolder(r *manifest.CardRules) (folder string, fixed bool) {
	if r.Folder == "" || r.Folder == manifest.AnyFolder {
		return "", false
	}
	return samename.Key(strings.Trim(r.Folder, "/")), true
}

// files lists the files that must be on the card for a release: an archive that is to
// be unpacked counts as its members.
func files(r *manifest.Release) []digest.File {
	fs := []digest.File{}
	for _, f := range r.Files {
		if f.Unpack == "" {
			fs = append(fs, digest.File{Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256})
			continue
		}
		for _, m := range f.Members {
			fs = append(fs, digest.File{Name: m.Name, Size: int64(m.Size), SHA256: m.SHA256})
		}
	}
	return fs
}
