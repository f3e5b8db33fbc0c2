package intake

import (
	"cmp"
	"fmt"
	"path"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/samename"
	"cardwright/manifest/version"
	"cardwright/media"
)

// placeInRelease finds out which file of its release a fresh one replaces, if any.
// A release has one file unless somebody said otherwise: other bytes under a known
// version are as likely a mistake, or a second thought of the maker's, as a second
// file, and both would go onto the card.
func (x *examination) placeInRelease(release *manifest.Release, found *Found) error {
	r := x.request
	if release == nil || len(release.Files) == 0 {
		if r.Replace {
			return x.refuse("nothing to replace", "no file of "+r.Model+" "+string(r.Version)+" in the catalogue", "a release that has one", "take it in with "+x.act(TakeIn))
		}
		return nil
	}
	found.files = len(release.Files)
	if whole := release.FileOf(x.sums.sha256); whole != nil && (r.Member != "" || r.Unpack) {
		found.Instead, found.Why = whole, whyInside(r, whole)
		return nil
	}
	same := fileNamed(release, found.Name)
	switch {
	case r.Replace:
		return x.namedReplaced(release, same, found)
	case same != nil:
		return x.differs(entry{found.Model, release, same}, found.Size, found.SHA256)
	case !r.Several:
		return x.refuse("different bytes under a known version", found.Name+", "+found.SHA256.Named(), filesOf(release),
			"if the maker has republished it: "+x.act(Replace)+"; if the release has several files: "+x.act(OneMore))
	}
	return nil
}

// whyInside is what the history says where an archive gives way to its contents.
func whyInside(r Request, whole *manifest.File) string {
	if r.Unpack {
		return "what is inside goes on the card"
	}
	return "its member " + r.Member + " is the package"
}

// namedReplaced finds the one file that is replaced.
func (x *examination) namedReplaced(release *manifest.Release, same *manifest.File, found *Found) error {
	switch old := x.request.Old; {
	case old != "":
		found.Instead = fileNamed(release, old)
	case len(release.Files) == 1:
		found.Instead = release.Files[0]
	default:
		found.Instead = same
	}
	if found.Instead == nil {
		return x.refuse("no telling which file it replaces", cmp.Or(x.request.Old, found.Name), "one of "+filesOf(release), "say which with "+x.act(NameOld))
	}
	if same != nil && same != found.Instead {
		return x.refuse("a name that another file of the release has", found.Name, "the name of "+found.Instead.Name+", or one that no file has", "give it another with "+x.act(NameIt))
	}
	return nil
}

// refuseSharedName refuses a file that would have the name of another on a card.
func (x *examination) refuseSharedName(release *manifest.Release, found Found) error {
	names := found.OnCard()
	if release != nil {
		for _, f := range release.Files {
			if f != found.Instead {
				names = append(names, f.OnCard()...)
			}
		}
	}
	if both := clash(names); both != "" {
		return x.refuse("a name that another file of the release has", both, "names that differ in more than capitals", "give it another with "+x.act(NameIt)+", or remove the other")
	}
	return nil
}

// OnCard are the names that the file will have on a card.
func (f Found) OnCard() (names []string) {
	if !f.Unpack {
		return []string{f.Name}
	}
	for _, m := range f.Members {
		names = append(names, m.Name)
	}
	return names
}

// refuseTakenOut refuses bytes that were replaced in this release before. Where
// they were only taken out, it notes that.
func (x *examination) refuseTakenOut(found *Found) error {
	if x.request.Replace {
		return nil
	}
	for _, p := range found.Model.History {
		if p.SHA256 != found.SHA256 || p.Variant != found.Variant || version.Compare(p.Version, found.Version) != 0 {
			continue
		}
		was := fmt.Sprintf("%s of %s %s, until %s: %s", p.File, found.Model.ID, p.Version, p.Until, p.Why)
		if p.By == "" {
			found.Notes = append(found.Notes, "the catalogue had it before, and it was taken out: "+was)
			continue
		}
		return x.refuse("bytes that were replaced in this release", was, "the bytes that the maker publishes now",
			"download it again; to go back to these: "+x.act(Replace))
	}
	return nil
}

// fileNamed is a release's file of this name, whatever its capitals, or nil.
func fileNamed(r *manifest.Release, name string) *manifest.File {
	for _, f := range r.Files {
		if samename.Same(f.Name, name) || samename.Same(path.Base(f.Name), name) {
			return f
		}
	}
	return nil
}

// filesOf names the files of a release.
func filesOf(r *manifest.Release) string {
	var all []string
	for _, f := range r.Files {
		all = append(all, fmt.Sprintf("%s, SHA-256 %s, %s", f.Name, f.SHA256, media.Bytes(int64(f.Size))))
	}
	return strings.Join(all, "; ") + ", as in the catalogue"
}
