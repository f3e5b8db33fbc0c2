package intake

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"aead.dev/minisign"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/media"
)

// entry is one file of the catalogue.
type entry struct {
	model   *manifest.Model
	release *manifest.Release
	file    *manifest.File
}

func (e entry) String() string {
	return fmt.Sprintf("%s of %s %s", e.file.Name, e.model.ID, e.release.Version)
}

// entries are the catalogue's files of a model, version and variant; "" is
// any.
func entries(shop *manifest.Shop, model string, v version.V, variant string) (all []entry) {
	for _, m := range shop.Models {
		for _, r := range m.Releases {
			if model != "" && m.ID != model || v != "" && (version.Compare(r.Version, v) != 0 || variant != "" && r.Variant != variant) {
				continue
			}
			for _, f := range r.Files {
				all = append(all, entry{m, r, f})
			}
		}
	}
	return all
}

func withDigest(all []entry, sha256 digest.SHA256) (same []entry) {
	for _, e := range all {
		if e.file.SHA256 == sha256 {
			same = append(same, e)
		}
	}
	return same
}

// examination is the work on one download: what is known of it so far.
type examination struct {
	ctx      context.Context
	shop     *manifest.Shop
	request  Request
	progress func(int64)

	file     *os.File
	content  content
	base     string // the download's own name
	evidence evidence
	hashed   *minisign.Reader
	sums     digests
	shape    shape
	zip      *archive // nil: it isn't one
}

// Examine reads a download, finds out what it is and whether it is complete, and who
// vouches for it. Nothing is written. progress, which may be nil, gets the
// number of bytes of each read. The error is *Refused where the download can't be taken.
func Examine(ctx context.Context, shop *manifest.Shop, request Request, progress func(int64)) (Found, error) {
	x := &examination{ctx: ctx, shop: shop, request: request, progress: progress, base: filepath.Base(request.Path)}
	if err := x.open(); err != nil {
		return Found{}, err
	}
	defer x.file.Close() // opened for reading only
	if err := x.hash(); err != nil {
		return Found{}, err
	}
	found, err := x.recognise()
	if err != nil {
		return Found{}, err
	}
	found.Path, found.From, found.words = request.Path, request.From, request.Words
	if err := x.vouch(&found); err != nil {
		return Found{}, err
	}
	return found, x.refuseDoubtful(&found)
}

// act is an act in the words of who reads the advice.
func (x *examination) act(a problem.Act, of ...any) string { return x.request.Words.For(a, of...) }

func (x *examination) refuse(what, found, expected, advice string) error {
	return &Refused{Path: x.request.Path, What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: advice}}
}

// noDownload says that there is no file where a download was named.
type noDownload struct {
	path string
	err  error // is fs.ErrNotExist
}

func (e *noDownload) Error() string {
	return fmt.Sprintf("there is no download %s: name a file that is there", e.path)
}

func (e *noDownload) Unwrap() error { return e.err }

// open opens the download, and refuses what can't be a package whatever its bytes
// are.
func (x *examination) open() error {
	info, err := os.Stat(x.request.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return &noDownload{x.request.Path, err}
	}
	if err != nil {
		return fmt.Errorf("opening the download: %w", err)
	}
	if !info.Mode().IsRegular() {
		found := "a device or a pipe"
		if info.IsDir() {
			found = "a folder"
		}
		return x.refuse("not a file", found, "a downloaded file", "name the file itself")
	}
	x.content = content{ctx: x.ctx, size: info.Size()}
	if x.content.size == 0 {
		return x.refuse("an empty download", "0 bytes", "a package", "download it again")
	}
	if end := partialEnd(x.base); end != "" {
		return x.refuse("an unfinished download", "a name that ends in "+end, "the finished file", "wait until it is finished, or download it again")
	}
	for _, end := range partialEnds {
		if _, err := os.Lstat(x.request.Path + end); err == nil {
			return x.refuse("an unfinished download", x.base+end+" beside it", "only the finished file", "wait until it is finished, or download it again")
		}
	}
	if x.file, err = os.Open(x.request.Path); err != nil {
		return fmt.Errorf("opening the download: %w", err)
	}
	x.content.file = x.file
	return nil
}

// partialEnds are what browsers and download tools put behind the name of an
// unfinished file. Common practice, no source.
var partialEnds = []string{".part", ".partial", ".crdownload", ".download", ".opdownload", ".aria2", ".!ut", ".filepart", ".tmp"}

func partialEnd(name string) string {
	for _, end := range partialEnds {
		if strings.HasSuffix(strings.ToLower(name), end) {
			return end
		}
	}
	return ""
}

// recognise finds out which file of the catalogue a download is, or takes it for
// what the user says.
func (x *examination) recognise() (Found, error) {
	r := x.request
	if r.Member == "" {
		same := withDigest(entries(x.shop, "", "", ""), x.sums.sha256)
		if len(same) > 0 && (!r.Unpack || same[0].file.Unpack != "") {
			return x.known(same, "", x.content.size, x.sums.sha256)
		}
		if len(same) > 0 && r.Model == "" { // it is to be unpacked from now on
			x.request.Model, x.request.Version, x.request.Variant = same[0].model.ID, same[0].release.Version, same[0].release.Variant
		}
	}
	if err := x.unpack(); err != nil {
		return Found{}, err
	}
	if r.Member != "" {
		return x.namedMember()
	}
	if x.zip != nil && !r.Unpack {
		member, same, err := x.zip.findPackage(x.ctx, entries(x.shop, r.Model, r.Version, r.Variant), x.progress)
		switch {
		case err != nil:
			return Found{}, x.refuse("an archive that can't be read", err.Error(), "a zip archive", "download it again")
		case member != nil:
			return x.known(same, member.Name, int64(member.UncompressedSize64), same[0].file.SHA256)
		}
	}
	found, err := x.fresh(cmp.Or(r.Name, x.base), x.content.size, x.sums.sha256)
	if err != nil {
		return Found{}, err
	}
	if !r.Unpack {
		if err := x.refuseUnopened(found.Model); err != nil {
			return Found{}, err
		}
		return found, x.refuseSharedName(found.Model.Release(found.Version, found.Variant), found)
	}
	found.Unpack = true
	if x.zip == nil {
		return Found{}, x.refuse("not an archive", "another kind of file", "a zip archive, since its contents go on the card", "leave out "+x.act(UnpackIt))
	}
	if found.Members, err = x.zip.members(x.ctx, x.progress); err != nil {
		return Found{}, x.refuse("an archive that can't be taken", err.Error(), "plain files with names that a card can hold", "ask the maker for another")
	}
	return found, x.refuseSharedName(found.Model.Release(found.Version, found.Variant), found)
}

// known is a file that the catalogue has already. Several releases may have the
// same one.
func (x *examination) known(same []entry, member string, size int64, sum digest.SHA256) (Found, error) {
	r := x.request
	for _, e := range same {
		if r.Model != "" && e.model.ID != r.Model || r.Version != "" && version.Compare(e.release.Version, r.Version) != 0 {
			continue
		}
		if r.Name != "" && r.Name != e.file.Name {
			return Found{}, x.refuse("a file that the catalogue has under another name", x.act(NameItSo, r.Name), e.String(), "leave out "+x.act(NameIt))
		}
		done := r.Replace && slices.ContainsFunc(e.model.History, func(p *manifest.Past) bool {
			return p.Variant == e.release.Variant && version.Compare(p.Version, e.release.Version) == 0 && p.By == sum
		})
		if r.Replace && !done {
			return Found{}, x.refuse("nothing to replace", "the same bytes as "+e.String()+" in the catalogue", "different bytes", "nothing needs doing")
		}
		found := Found{
			Member: member, Model: e.model, Version: e.release.Version, Variant: e.release.Variant, Known: e.file,
			Name: e.file.Name, Size: size, SHA256: sum, Done: done,
		}
		if whole := e.release.FileOf(x.sums.sha256); r.Member != "" && whole != nil && whole != e.file {
			found.Instead, found.Why = whole, whyInside(r, whole) // its archive was taken, too
		}
		return found, nil
	}
	return Found{}, x.refuse("a file of another release", same[0].String(), strings.TrimSpace("a file of "+r.Model+" "+string(r.Version)), "leave out "+x.act(SayWhat)+", or download the right one; if two releases share this file, write it under the second in the catalogue by hand")
}

// unpack opens the download as an archive where it is one. A zip without its end
// was cut short.
func (x *examination) unpack() error {
	if !bytes.HasPrefix(x.content.head, []byte("PK\x03\x04")) && !bytes.HasPrefix(x.content.head, []byte("PK\x05\x06")) {
		return nil
	}
	a, err := openArchive(x.file, x.content.size)
	switch {
	case errors.Is(err, zip.ErrFormat):
		if x.request.SHA256 != "" { // somebody else has it like this
			return nil
		}
		return x.refuse("an archive without its end", fmt.Sprintf("%d bytes", x.content.size), "a whole zip archive", "the download was cut short: download it again")
	case err != nil:
		return x.refuse("an archive that can't be read", err.Error(), "a zip archive", "download it again")
	}
	x.zip = a
	return nil
}

// namedMember is the file inside an archive that the user names.
func (x *examination) namedMember() (Found, error) {
	if x.zip == nil {
		return Found{}, x.refuse("not an archive", "another kind of file", "a zip archive with a member "+x.request.Member, "leave out "+x.act(NoMember))
	}
	named := x.zip.named(x.request.Member)
	switch {
	case len(named) == 0:
		return Found{}, x.refuse("no such member", "an archive of "+memberNames(x.zip.File), "a member "+x.request.Member, "name one of them")
	case len(named) > 1 && named[0].Name == x.request.Member:
		return Found{}, x.refuse("several members of this name", memberNames(named), "one of that name", "ask the maker for another")
	case len(named) > 1:
		return Found{}, x.refuse("several members of this name", memberNames(named), "one of that name", "name it with its folder")
	}
	m := named[0]
	if why := unfit(m); why != "" {
		return Found{}, x.refuse("a member that can't be taken", m.Name+", "+why, "a plain file", "ask the maker for another")
	}
	sum, err := memberDigest(x.ctx, m, x.progress)
	if err != nil {
		return Found{}, x.refuse("an archive that can't be read", m.Name+": "+err.Error(), "a member that is whole", "download it again")
	}
	if same := withDigest(entries(x.shop, "", "", ""), sum); len(same) > 0 {
		return x.known(same, m.Name, int64(m.UncompressedSize64), sum)
	}
	found, err := x.fresh(cmp.Or(x.request.Name, path.Base(strings.ReplaceAll(m.Name, `\`, "/"))), int64(m.UncompressedSize64), sum)
	if err != nil {
		return Found{}, err
	}
	found.Member = m.Name
	return found, x.refuseSharedName(found.Model.Release(found.Version, found.Variant), found)
}

// shownMembers is how many names of members a message has.
const shownMembers = 8

func memberNames(all []*zip.File) string {
	var names []string
	for _, m := range all[:min(len(all), shownMembers)] {
		names = append(names, fmt.Sprintf("%q", m.Name))
	}
	if more := len(all) - shownMembers; more > 0 {
		names = append(names, fmt.Sprintf("%d more", more))
	}
	return strings.Join(names, ", ")
}

// fresh is a file that the catalogue doesn't have. The user has to say what it is,
// and its place must be free.
func (x *examination) fresh(name string, size int64, sum digest.SHA256) (Found, error) {
	r := x.request
	name = inOnePiece(name)
	like := x.sameNamed(name)
	if r.Model == "" || r.Version == "" {
		if like != nil {
			return Found{}, x.differs(*like, size, sum)
		}
		return Found{}, &Refused{
			Path: x.request.Path, What: "not in the catalogue", Problem: problem.Problem{
				Found:    sum.Named(),
				Expected: "a file that a release in the catalogue lists", Advice: "say what it is with " + x.act(SayWhat),
			}, Unknown: true,
		}
	}
	model := x.shop.Model(r.Model)
	if model == nil {
		return Found{}, x.refuse("no such model", r.Model, "the id of a model in the catalogue", "add it with "+x.act(AddModel, r.Model))
	}
	if !utf8.ValidString(name) {
		return Found{}, x.refuse("a name that a card can't have", fmt.Sprintf("%q, which is not text", name), "a name in UTF-8", "give it another with "+x.act(NameIt))
	}
	if p := manifest.Problem("File.name", name); p != nil {
		return Found{}, x.refuse("a name that a card can't have", p.Found, p.Expected, "give it another with "+x.act(NameIt))
	}
	found := Found{Model: model, Version: r.Version, Variant: r.Variant, Name: name, Size: size, SHA256: sum}
	if err := x.refuseTakenOut(&found); err != nil {
		return Found{}, err
	}
	return found, x.placeInRelease(model.Release(r.Version, r.Variant), &found)
}

// sameNamed is the file of the catalogue that has the download's name, apart from
// what browsers add to the name of a second copy.
func (x *examination) sameNamed(name string) *entry {
	for _, e := range entries(x.shop, x.request.Model, x.request.Version, x.request.Variant) {
		if base := path.Base(e.file.Name); strings.EqualFold(base, name) || strings.EqualFold(base, firstName(name)) {
			return &e
		}
	}
	return nil
}

// differs refuses a download that has the name of a file in the catalogue, and
// other bytes.
func (x *examination) differs(e entry, size int64, sum digest.SHA256) error {
	if want := int64(e.file.Size); size < want {
		return x.refuse("an incomplete download", media.Bytes(size), media.Bytes(want)+", as "+e.String()+" has", "download it again")
	}
	return x.refuse("not the file that the catalogue has under this name", sum.Named()+", "+media.Bytes(size),
		e.file.SHA256.Named()+", "+media.Bytes(int64(e.file.Size))+", as "+e.String()+" has",
		"download it again; if the maker has republished it: "+x.act(Replace))
}

// copyNames are the names that browsers and file managers give second copies.
// Common practice, no source.
var copyNames = pattern.Of(`(?i)^(.+?)(?: ?\([0-9]{1,3}\)| - copy(?: \([0-9]{1,3}\))?| copy(?: [0-9]{1,3})?|-copy)(\.[^.]*)?$|^copy of (.+)$`)

// firstName is the name of the first copy, by that of a second one; "" where it
// isn't one.
func firstName(name string) string {
	m := copyNames.FindStringSubmatch(name)
	if m == nil {
		return ""
	}
	return m[1] + m[2] + m[3]
}

// copyBytes is how much is read at a time.
const copyBytes = 1 << 20

// copyAll copies to the end, or until it is interrupted.
func copyAll(ctx context.Context, to io.Writer, from io.Reader, progress func(int64)) (int64, error) {
	buffer := make([]byte, copyBytes)
	var sum int64
	for {
		n, err := from.Read(buffer)
		if _, werr := to.Write(buffer[:n]); werr != nil {
			return sum, werr
		}
		sum += int64(n)
		if progress != nil {
			progress(int64(n))
		}
		switch {
		case errors.Is(err, io.EOF):
			return sum, nil
		case err != nil:
			return sum, err
		case ctx.Err() != nil:
			return sum, ctx.Err()
		}
	}
}
