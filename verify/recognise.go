package verify

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/pattern"
	"cardwright/manifest/samename"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/verify/fatread"
)

// release is a file of the catalogue that a digest belongs to.
type release struct {
	model  *manifest.Model
	of     *manifest.Release
	source media.Source
	name   string // as it stands on a card
	size   int64
}

func (r release) String() string {
	return fmt.Sprintf("%s of %s %s", r.name, r.model.ID, r.of.Version)
}

// catalogue has every file of the shop's catalogue by its digest.
func (j *judging) catalogue() map[string][]release {
	known := map[string][]release{}
	if j.expected == nil || j.expected.Aboard == nil || j.expected.Aboard.Shop == nil {
		return known
	}
	for _, m := range j.expected.Aboard.Shop.Models {
		for _, r := range m.Releases {
			for _, f := range r.Files {
				s := media.Source{Model: m.ID, Version: r.Version, Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256}
				known[f.SHA256] = append(known[f.SHA256], release{m, r, s, f.Name, int64(f.Size)})
				for _, member := range f.Members {
					s.Member = member.Name
					known[member.SHA256] = append(known[member.SHA256], release{m, r, s, member.Name, int64(member.Size)})
				}
			}
		}
	}
	return known
}

// recognised says in words what the catalogue knows a digest as, or "".
func (j *judging) recognised(digest string) string {
	var words []string
	for _, r := range j.known[digest] {
		words = append(words, "this is "+r.String())
	}
	return strings.Join(words, "; ")
}

// others tells what is on the card beside what is expected: each file once, by
// what it turned out to be.
func (j *judging) others() {
	if j.fromRecord() && len(j.wanted) == 0 && len(j.known) == 0 { // nothing to compare with
		return
	}
	filled := j.filledFolders()
	for _, e := range j.files {
		if !e.dir && j.isWanted(e) || j.placed[e.path] || e.dir && filled[key(e.path)] || j.isOwn(e) {
			continue
		}
		j.report.Counts["files_unexpected"]++
		f := j.extra(e)
		if j.expected != nil && j.expected.Beside && !j.amongOurs(e) {
			f.Severity, f.Expected = Note, "other files, as allowed"
		}
		if j.fromRecord() && len(j.wanted) == 0 && f.Severity == Stop { // told, not judged
			f.Severity = Warn
		}
		j.report.add(f)
	}
}

// amongOurs tells of a file that isn't beside the card's own but among them: in
// the record's folder, or where a device looks for its package and might take
// this for one.
func (j *judging) amongOurs(e file) bool {
	if samename.Within(e.path, media.RecordFolder) {
		return true
	}
	looked := func(f media.RecordFile) bool { return samename.Same(parentOf(f.Path), parentOf(e.path)) }
	return !e.dir && j.passesForPackage(e) && slices.ContainsFunc(j.sortedWanted(), looked)
}

// filledFolders are the folders with a file in them.
func (j *judging) filledFolders() map[string]bool {
	filled := map[string]bool{}
	for _, e := range j.files {
		for p := parentOf(key(e.path)); p != "" && !e.dir; p = parentOf(p) {
			filled[p] = true
		}
	}
	return filled
}

func (j *judging) extra(e file) Finding {
	f := Finding{
		Kind: ExtraFile, Severity: Stop, Path: e.path, Expected: "nothing", Found: media.Bytes(e.size),
		Meaning: "It is not part of what this vessel needs; a device may show it, or take it for an update.",
		Advice:  "Use a card that holds only what was prepared.",
	}
	switch {
	case e.dir && isClutter(e.path):
		f, _ := j.clutter(e)
		return f
	case e.dir:
		f.Kind, f.Found = ExtraFolder, "an empty folder"
		if j.blind {
			f.Severity, f.Found = Warn, "a folder that is empty as far as it could be read"
		}
		return f
	case j.known[j.digests[e.path]] != nil:
		return j.knownRelease(e, j.known[j.digests[e.path]])
	}
	for _, look := range j.looks() {
		if told, ok := look(e); ok {
			return told
		}
	}
	return f
}

// looks are what an unexpected file is taken for, the first that fits. What a
// desktop system leaves is looked at like all else: somebody may have put a
// package, or a program, where it would pass for that.
func (j *judging) looks() []func(file) (Finding, bool) {
	return []func(file) (Finding, bool){j.prefixOfKnown, j.alteredKnown, program, j.clutter, j.zipped, partialDownload, hidden}
}

// knownRelease says of a package of the catalogue why it isn't the one that is
// wanted here.
func (j *judging) knownRelease(e file, all []release) Finding {
	r := all[0]
	f := Finding{
		Kind: NotNeeded, Severity: Stop, Path: e.path, Expected: "nothing", Found: r.String(),
		Meaning: "No device aboard needs it on this visit.", Advice: "Take it off the card, or use a card that holds only what was prepared.",
	}
	vessel := j.expected.Aboard.Vessel
	switch {
	case r.of.Withdrawn != "":
		f.Kind, f.Meaning = WithdrawnRelease, "Its maker withdrew it: "+r.of.Withdrawn
		f.Advice = "Do not install it."
	case vessel == nil:
		f.Kind, f.Severity, f.Expected = KnownRelease, Note, ""
		f.Meaning, f.Advice = "It is a package of the catalogue, whole and unaltered.", ""
	default:
		j.againstVessel(&f, r, vessel)
	}
	return f
}

// withdrawn tells of files that a record on the card lists, so that they are
// expected, and whose release was withdrawn since. A plan holds none.
func (j *judging) withdrawn() {
	if !j.fromRecord() {
		return
	}
	for _, e := range j.files {
		all := j.known[j.digests[e.path]]
		stands := func(r release) bool { return r.of.Withdrawn == "" }
		if j.isWanted(e) && len(all) > 0 && !slices.ContainsFunc(all, stands) {
			j.report.add(j.knownRelease(e, all))
		}
	}
}

// againstVessel compares a known release with what the vessel's devices of its
// model run and get.
func (j *judging) againstVessel(f *Finding, r release, vessel *manifest.Vessel) {
	if j.onAnotherCard(f) {
		return
	}
	goal, aboard, variant := version.V(""), false, false
	for _, d := range vessel.Devices {
		if d.Model != r.model.ID {
			continue
		}
		aboard = true
		variant = variant || d.Variant == r.of.Variant
		if to := j.endOf(d); goal == "" || version.Compare(to, goal) > 0 {
			goal = to
		}
	}
	switch {
	case !aboard:
		f.Kind, f.Meaning = NotAboard, vessel.Name+" has no "+r.model.Name+"."
	case !variant:
		f.Kind, f.Meaning = OtherVariant, fmt.Sprintf("It is for variant %q, which no device aboard is.", r.of.Variant)
	case goal == "" || goal == version.Unknown:
	case version.Compare(r.of.Version, goal) < 0:
		f.Kind, f.Expected = OlderRelease, string(goal)
		f.Meaning = "It is older than what the device runs or gets."
	case version.Compare(r.of.Version, goal) > 0:
		f.Kind, f.Expected = NewerRelease, string(goal)
		f.Meaning = "It is newer than what is planned: it does not fit the other devices, or a hold stands against it."
	default:
		j.rightElsewhere(f, r)
	}
}

// onAnotherCard tells of a file that a step needs on another card of the plan.
func (j *judging) onAnotherCard(f *Finding) bool {
	elsewhere := 0
	for _, s := range j.expected.Aboard.Plan.Steps {
		if !slices.ContainsFunc(s.Files, func(w order.File) bool { return w.SHA256 == j.digests[f.Path] }) {
			continue
		}
		if s.Card == j.expected.Aboard.Card {
			return false
		}
		elsewhere = s.Card
	}
	if elsewhere == 0 {
		return false
	}
	f.Kind, f.Expected = OtherCard, fmt.Sprintf("it on card %d of the plan", elsewhere)
	f.Meaning = "The vessel needs it, and not beside what belongs on this card."
	f.Advice = "Take it off this card, or prepare cards of your own."
	return true
}

// endOf is the version that a device ends the visit on.
func (j *judging) endOf(d *manifest.Device) version.V {
	end := d.Version
	for _, s := range j.expected.Aboard.Plan.Steps {
		if s.Device == d.ID {
			end = s.To
		}
	}
	return end
}

// rightElsewhere tells of a wanted file that stands at another path, where its
// device doesn't look for it.
func (j *judging) rightElsewhere(f *Finding, r release) {
	for _, w := range j.absent {
		if w.SHA256 != j.digests[f.Path] {
			continue
		}
		f.Expected, f.Found = w.Path, f.Path
		j.instead(w.SHA256, "its content stands at "+f.Path)
		if samename.ButCase(path.Base(w.Path), path.Base(f.Path)) {
			f.Kind, f.Meaning = WrongFolder, "The file is right, and stands where its device does not look for it."
			f.Advice = "Move it to /" + parentOf(w.Path) + " and verify again, or prepare a card of your own."
			return
		}
		f.Kind, f.Meaning = RenamedFile, "The file is right, and has a name that its device does not look for."
		f.Advice = "Make it /" + w.Path + " and verify again, or prepare a card of your own."
		if bareName(f.Path) != strings.ToLower(path.Base(f.Path)) {
			f.Meaning += " A browser gives such names."
		}
		return
	}
	j.asDownloaded(f, r)
}

// asDownloaded tells of a package in the archive that it is downloaded in,
// where its device wants the files in it.
func (j *judging) asDownloaded(f *Finding, r release) {
	for _, file := range r.of.Files {
		if file.Name != r.source.Name || r.source.Member != "" {
			continue
		}
		for _, m := range file.Members {
			if !slices.ContainsFunc(j.absent, func(w media.RecordFile) bool { return w.SHA256 == m.SHA256 }) {
				continue
			}
			f.Kind, f.Expected = StillZipped, "the files inside it, unpacked"
			f.Meaning = "It is the right package, as it is downloaded. Devices do not look into archives."
			f.Advice = "Unpack it, or prepare a card of your own."
			j.instead(m.SHA256, "it is inside the archive "+f.Path)
		}
	}
}

// instead notes what was found of an expected file that isn't there.
func (j *judging) instead(digest, what string) {
	for _, w := range j.absent {
		if w.SHA256 == digest {
			j.absentBut[key(w.Path)] = what
		}
	}
}

// browserMarks are what browsers add to names: " (1)" before the ending, and
// the endings of downloads that haven't ended (common practice, no source).
var browserMarks = pattern.Of(`(?i)( ?\(\d{1,3}\))|\.(part|partial|crdownload|download|tmp)$`)

// bareName is a file's name without what browsers add to it, in lower case.
func bareName(p string) string {
	return strings.ToLower(browserMarks.ReplaceAllString(path.Base(p), ""))
}

var unfinished = pattern.Of(`(?i)\.(part|partial|crdownload|download)$`)

func partialDownload(e file) (Finding, bool) {
	if !unfinished.MatchString(e.path) {
		return Finding{}, false
	}
	return Finding{
		Kind: PartialDownload, Severity: Stop, Path: e.path, Expected: "a finished download", Found: media.Bytes(e.size),
		Meaning: "The name is one that browsers give while they are still downloading.",
		Advice:  "Download it again to the end.",
	}, true
}

// candidates are the known files that one of this name could be meant to be,
// the wanted ones among them.
func (j *judging) candidates(e file) []release {
	var found []release
	name := bareName(e.path)
	for _, all := range j.known {
		for _, r := range all {
			if strings.EqualFold(path.Base(r.name), name) || strings.EqualFold(path.Base(r.source.Name), name) {
				found = append(found, r)
			}
		}
	}
	slices.SortFunc(found, func(a, b release) int { return compareText(a.String(), b.String()) })
	return found
}

// prefixOfKnown tells of the beginning of a known package, and no more.
func (j *judging) prefixOfKnown(e file) (Finding, bool) {
	for _, r := range j.candidates(e) {
		if e.size < r.size && j.beginsLike(e, func() (io.ReadCloser, error) { return j.packages().Open(r.source) }) {
			j.instead(r.sha256(), "its beginning stands at "+e.path)
			return truncated(e, r.String(), r.size), true
		}
	}
	return Finding{}, false
}

func truncated(e file, of string, size int64) Finding {
	return Finding{
		Kind: Truncated, Severity: Stop, Path: e.path,
		Expected: media.Bytes(size),
		Found:    fmt.Sprintf("%s: it stops at byte %d, %s are missing", media.Bytes(e.size), e.size, media.Bytes(size-e.size)),
		Meaning:  "It is the beginning of " + of + ", and no more: a download or a copy that was interrupted.",
		Advice:   "Do not install it. Download it again, or prepare the card again.",
	}
}

// isPrefix tells whether e is the beginning of the expected file: by the
// package where that is at hand, or by the record's running digests.
func (j *judging) isPrefix(f media.RecordFile, e file) bool {
	if e.size >= f.Size {
		return false
	}
	if j.expected != nil && j.expected.Package != nil &&
		j.beginsLike(e, func() (io.ReadCloser, error) { return j.expected.Package(f.Path) }) {
		return true
	}
	full := e.size / media.BlockSize
	return full > 0 && int64(len(f.Running)) > full && int64(len(j.running[e.path])) >= full &&
		e.size%media.BlockSize == 0 && f.Running[full-1] == j.running[e.path][full-1]
}

// beginsLike tells whether a package begins with all of e. A package that
// can't be read is like nothing.
func (j *judging) beginsLike(e file, pkg func() (io.ReadCloser, error)) bool {
	want, err := pkg()
	if err != nil {
		return false
	}
	defer want.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, io.LimitReader(want, e.size))
	return err == nil && n == e.size && hex.EncodeToString(sum.Sum(nil)) == j.digests[e.path]
}

func (j *judging) packages() media.Packages { return media.PackagesOf(j.expected.Aboard.Shop) }

// alteredKnown tells of a file with a known package's name and size and other
// bytes.
func (j *judging) alteredKnown(e file) (Finding, bool) {
	digest, read := j.digests[e.path]
	for _, r := range j.candidates(e) {
		if !read || e.size != r.size {
			continue
		}
		f := Finding{
			Kind: ContentDiffers, Severity: Stop, Path: e.path,
			Expected: "SHA-256 " + r.sha256(), Found: "SHA-256 " + digest,
			Meaning: "It has the name and size of " + r.String() + ", and other bytes: it was altered or damaged.",
			Advice:  "Do not install it. Prepare the card again.",
		}
		j.instead(r.sha256(), "one like it, altered, stands at "+e.path)
		if at, ok := j.against(e, func() (io.ReadCloser, error) { return j.packages().Open(r.source) }, r.size); ok {
			f.Found += fmt.Sprintf(", first different at byte %d of the file (MiB %d)", at, at/media.BlockSize)
		}
		return f, true
	}
	return Finding{}, false
}

// sha256 is the digest of what goes on a card.
func (r release) sha256() string {
	for _, f := range r.of.Files {
		for _, m := range f.Members {
			if f.Name == r.source.Name && m.Name == r.source.Member {
				return m.SHA256
			}
		}
	}
	return r.source.SHA256
}

// Bounds on looking into an archive on a card.
const (
	maxZipMembers = 4096
	maxZipBytes   = 8 << 30 // unpacked, of all archives on a card
	maxZipRatio   = 1000    // unpacked to packed, of one member
)

// zipped tells of known packages inside an archive. Nothing is unpacked to
// disk; an archive past the bounds is told as one that wasn't looked into.
func (j *judging) zipped(e file) (Finding, bool) {
	if e.at == nil || !strings.HasPrefix(j.head(e), "PK") {
		return Finding{}, false
	}
	f := Finding{
		Kind: StillZipped, Severity: Stop, Path: e.path, Expected: "the files inside it", Found: "an archive",
		Meaning: "Devices do not look into archives.", Advice: "Unpack it, or prepare a card of your own.",
	}
	archive, err := media.ReadArchive(io.NewSectionReader(e.at, 0, e.size), e.size)
	if err != nil {
		f.Found = "an archive that is damaged: " + err.Error()
		return f, true
	}
	if len(archive.File) > maxZipMembers {
		f.Found = fmt.Sprintf("an archive of %d members, which were not looked at", len(archive.File))
		return f, true
	}
	inside, left := j.lookInside(archive, e.path)
	if len(inside) > 0 {
		f.Found = "an archive with " + strings.Join(inside, ", ")
	}
	if left != "" {
		f.Found += "; " + left
	}
	if slices.ContainsFunc(archive.File, func(m *zip.File) bool { return packed.MatchString(m.Name) }) {
		f.Found += "; archives inside it were not opened"
	}
	return f, true
}

// packed are the endings of archives (common practice, no source).
var packed = pattern.Of(`(?i)\.(zip|7z|rar|tar|gz|tgz|xz|bz2)$`)

// lookInside unpacks only what could be a known package by its size: most of
// what bombs are made of isn't unpacked at all.
func (j *judging) lookInside(archive *zip.Reader, at string) (inside []string, left string) {
	sizes := j.knownSizes()
	for _, m := range archive.File {
		if !sizes[m.UncompressedSize64] {
			continue
		}
		j.unzipped += m.UncompressedSize64
		if m.UncompressedSize64/(m.CompressedSize64+1) > maxZipRatio || j.unzipped > maxZipBytes {
			return inside, "it unpacks to more than anybody means, and was not looked at to its end"
		}
		digest, err := j.hashMember(m)
		if err != nil {
			return inside, "it could not be read to its end: " + err.Error()
		}
		for _, r := range j.known[digest] {
			inside = append(inside, r.String())
			j.instead(digest, "it is inside the archive "+at)
		}
	}
	return inside, ""
}

func (j *judging) knownSizes() map[uint64]bool {
	sizes := map[uint64]bool{}
	for _, all := range j.known {
		for _, r := range all {
			sizes[uint64(r.size)] = true
		}
	}
	for _, f := range j.wanted {
		sizes[uint64(f.Size)] = true
	}
	return sizes
}

func (j *judging) hashMember(m *zip.File) (string, error) {
	in, err := m.Open()
	if err != nil {
		return "", err
	}
	defer in.Close()
	sum := sha256.New()
	buffer := make([]byte, 64<<10)
	for n := uint64(0); n <= m.UncompressedSize64; {
		if err := j.ctx.Err(); err != nil {
			return "", err
		}
		got, err := in.Read(buffer)
		sum.Write(buffer[:got])
		n += uint64(got)
		if err == io.EOF {
			return hex.EncodeToString(sum.Sum(nil)), nil
		}
		if err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("%s is longer than it says", m.Name)
}

// head is the first bytes of a file; fewer where it can't be read.
func (j *judging) head(e file) string {
	in, err := e.open()
	if err != nil {
		return ""
	}
	defer in.Close()
	var head [4]byte
	n, _ := io.ReadFull(in, head[:])
	return string(head[:n])
}

// extents reads a file on a card at any place, through its runs of clusters.
type extents struct {
	card    io.ReaderAt
	places  []int64 // of each run, bytes on the card
	ends    []int64 // of each run, bytes in the file
	cluster int64
	written int64 // bytes; the rest was never written and reads as zeros
}

// extentsOf is nil for a file whose runs aren't all known.
func extentsOf(v *fatread.Volume, e fatread.Entry, card io.ReaderAt) io.ReaderAt {
	x := &extents{card: card, cluster: int64(v.ClusterBytes), written: e.Written}
	end := int64(0)
	for _, run := range e.Chain {
		end += int64(run.Count) * x.cluster
		x.places = append(x.places, v.Place(run.First))
		x.ends = append(x.ends, end)
	}
	if e.Dir || end < e.Size {
		return nil
	}
	return x
}

func (x *extents) ReadAt(p []byte, at int64) (int, error) {
	n := 0
	for n < len(p) {
		i, _ := slices.BinarySearch(x.ends, at+1)
		if i == len(x.ends) {
			return n, io.EOF
		}
		begin := int64(0)
		if i > 0 {
			begin = x.ends[i-1]
		}
		part := p[n:min(int64(len(p)), int64(n)+x.ends[i]-at)]
		if at >= x.written {
			clear(part)
			n, at = n+len(part), at+int64(len(part))
			continue
		}
		part = part[:min(int64(len(part)), x.written-at)]
		got, err := x.card.ReadAt(part, x.places[i]+at-begin)
		n, at = n+got, at+int64(got)
		if err != nil {
			return n, err
		}
	}
	return n, nil
}

// against finds the first byte in which e differs from a package.
func (j *judging) against(e file, pkg func() (io.ReadCloser, error), size int64) (at int64, ok bool) {
	want, err := pkg()
	if err != nil {
		return 0, false
	}
	defer want.Close()
	got, err := e.open()
	if err != nil {
		return 0, false
	}
	defer got.Close()
	a, b := make([]byte, media.BlockSize), make([]byte, media.BlockSize)
	for at < size && j.ctx.Err() == nil {
		n, errGot := io.ReadFull(got, a)
		m, errWant := io.ReadFull(want, b)
		n = min(n, m)
		if !bytes.Equal(a[:n], b[:n]) {
			return at + int64(firstOther(a[:n], b[:n])), true
		}
		if errGot != nil || errWant != nil {
			break
		}
		at += int64(n)
	}
	return 0, false
}
