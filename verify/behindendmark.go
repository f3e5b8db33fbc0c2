package verify

import (
	"path"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/samename"
	"cardwright/media"
	"cardwright/verify/fatread"
)

// judgeBehindEnds reports what follows the end mark of a folder and would
// be something to install for a device that doesn't stop there.
func judgeBehindEnds(m matched, report func(Finding)) {
	if m.card.volume == nil || len(m.card.volume.Behind) == 0 {
		return
	}
	leads := wantedNames(m)
	for _, e := range m.card.volume.Behind {
		if why := couldTake(m, e, leads); why != "" {
			report(behindEnd.at(e.Path, "nothing behind the end of a folder", why))
		}
	}
}

// couldTake says what a device could take an entry behind an end mark for; "":
// for nothing.
func couldTake(m matched, e fatread.Entry, leads map[string]bool) string {
	long := samename.Key(e.Path)
	short := samename.Key(path.Join(parentOf(e.Path), e.ShortName))
	names, endings := m.known.names(), m.known.endings()
	switch {
	case leads[long] || leads[short]:
		return "an entry named like a wanted file, or like a folder on the way to one"
	case e.Dir || e.Size == 0:
		return ""
	case names[path.Base(long)] || names[path.Base(short)]:
		return "an entry with the name of a package"
	case endings[strings.ToLower(path.Ext(e.Path))] || endings[strings.ToLower(path.Ext(e.ShortName))]:
		return "an entry whose name ends like a package's"
	case m.known.sizes()[uint64(e.Size)]:
		return "an entry with the size of a package, " + media.Bytes(e.Size)
	case len(m.expected.visit().atPowerUp()) > 0:
		return "an entry of " + media.Bytes(e.Size) + ", where a device installs by itself at power-up"
	}
	return ""
}

// wantedNames are the keys of wanted paths, of the folders that lead there, and
// of the fixed folders where devices aboard look.
func wantedNames(m matched) map[string]bool {
	names := map[string]bool{}
	add := func(p string) {
		for ; p != "" && p != "."; p = parentOf(p) {
			names[samename.Key(p)] = true
		}
	}
	for _, f := range m.wanted {
		add(f.Path)
	}
	for _, p := range m.movedTo {
		add(p)
	}
	for _, p := range ownPaths {
		add(p)
	}
	if visit := m.expected.visit(); visit != nil {
		for _, d := range visit.Vessel.Devices {
			if model := visit.Shop.Model(d.Model); model != nil && model.Card != nil && model.Card.Folder != manifest.AnyFolder {
				add(strings.Trim(model.Card.Folder, "/"))
			}
		}
	}
	return names
}
