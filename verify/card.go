package verify

import (
	"cmp"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"time"

	"cardwright/media"
	"cardwright/verify/fatread"
)

// Progress is told how many more bytes of files were read.
type Progress func(bytes int64)

// Card judges a card of this many bytes. Reads must come from the medium and
// not from a cache; the caller sees to that, or adds a NotFromMedium finding
// with Report.Add. expected may be nil: then the contents are told and the
// verdict is at best unchecked.
func Card(ctx context.Context, read io.ReaderAt, bytes int64, expected *Expected, progress Progress) Report {
	r := newReport()
	card := fatread.Read(read, bytes, fatread.DefaultLimits)
	r.Counts["bytes_of_card"] = int(bytes)
	r.limits(bytes, expected)
	r.faults(card.Faults)
	volume := r.volume(card)
	if volume != nil {
		j := judging{ctx: ctx, report: r, files: filesOf(volume), expected: expected, progress: progress}
		j.judge()
		r.digest(card, j.digests, expected)
	}
	r.Counts["bytes_read"] = int(card.BytesRead())
	r.conclude()
	return *r
}

// volume is the one FAT32 volume of the card, or nil with a finding.
func (r *Report) volume(card *fatread.Card) *fatread.Volume {
	switch {
	case len(card.Volumes) == 0:
		r.add(Finding{
			Kind: NoFileSystem, Severity: Stop,
			Expected: "a FAT32 file system", Found: "no file system",
			Meaning: "The card is blank, or was never finished; no device can read it.",
			Advice:  "Prepare the card again.",
		})
		return nil
	case len(card.Volumes) > 1:
		r.add(Finding{
			Kind: Structure, Severity: Stop,
			Expected: "one file system", Found: fmt.Sprintf("%d file systems", len(card.Volumes)),
			Meaning: "Devices differ in which of them they read.",
			Advice:  "Prepare the card again, or use another.",
		})
		return nil
	}
	v := &card.Volumes[0]
	if v.FileSystem != "FAT32" {
		r.add(Finding{
			Kind: OtherFileSystem, Severity: Stop,
			Expected: "FAT32", Found: v.FileSystem,
			Meaning: "The devices aboard read FAT32.",
			Advice:  "Copy the files to a card that cardwright formatted.",
		})
		return nil
	}
	r.Counts["cluster_bytes"] = v.ClusterBytes
	return v
}

func (r *Report) limits(bytes int64, expected *Expected) {
	if expected == nil || expected.Limits == (media.Limits{}) || expected.Limits.Check(bytes) == nil {
		return
	}
	l := expected.Limits
	f := Finding{Severity: Stop, Found: media.Bytes(bytes)}
	if bytes < l.Least {
		f.Kind, f.Expected = TooSmall, "at least "+media.Bytes(l.Least)
		f.Meaning, f.Advice = "The devices aboard do not accept a card this small.", "Use a larger card."
	} else {
		f.Kind, f.Expected = TooLarge, "at most "+media.Bytes(l.Most)
		f.Meaning, f.Advice = "The devices aboard do not accept a card this large.", "Use a smaller card."
	}
	r.add(f)
}

// faults tells what is wrong with the file system itself.
func (r *Report) faults(faults []fatread.Fault) {
	for _, f := range faults {
		if f.Unread() {
			r.add(unreadable(f.Path, f.Offset, f.Found))
			continue
		}
		where := ""
		if f.Offset >= 0 {
			where = fmt.Sprintf(" (byte %d of the card)", f.Offset)
		}
		r.add(Finding{
			Kind: Structure, Severity: Stop, Path: f.Path,
			Expected: f.Expected, Found: f.Found + where,
			Meaning: "The file system is damaged (" + string(f.Kind) + "); devices may read it differently.",
			Advice:  "Prepare the card again; if it happens again, use another card.",
		})
	}
}

func unreadable(path string, offset int64, found string) Finding {
	where := ""
	if offset >= 0 {
		where = fmt.Sprintf(" at byte %d of the card", offset)
	}
	return Finding{
		Kind: Unreadable, Severity: Stop, Path: path,
		Expected: "bytes that can be read", Found: found + where,
		Meaning: "What stands there is not known.",
		Advice:  "Clean the contacts, try another reader; if it stays so, use another card.",
	}
}

// digest forms the card's digest and compares it where one is expected.
func (r *Report) digest(card *fatread.Card, digests map[string]string, expected *Expected) {
	sum, ok := card.Digest(func(e fatread.Entry) (d [32]byte, ok bool) {
		n, err := hex.Decode(d[:], []byte(digests[e.Path]))
		return d, err == nil && n == len(d)
	})
	if !ok {
		return
	}
	r.Digest = hex.EncodeToString(sum[:])
	if expected == nil || expected.Digest == "" || expected.Digest == r.Digest {
		return
	}
	r.add(Finding{
		Kind: DigestDiffers, Severity: Stop,
		Expected: expected.Digest, Found: r.Digest,
		Meaning: "The card is not, byte for byte, the one that was written.",
		Advice:  "Prepare the card again.",
	})
}

// file is one file or folder that is on a card.
type file struct {
	path     string
	size     int64
	dir      bool
	place    int64 // files are read in the order of their place
	modified time.Time
	open     func() (io.ReadCloser, error)
}

func filesOf(v *fatread.Volume) []file {
	files := make([]file, len(v.Entries))
	for i, e := range v.Entries {
		files[i] = file{
			path: e.Path, size: e.Size, dir: e.Dir, place: int64(e.First), modified: e.Modified,
			open: func() (io.ReadCloser, error) { return io.NopCloser(v.Open(e)), nil },
		}
	}
	return files
}

// judging compares the files of one card with what is expected.
type judging struct {
	ctx      context.Context
	report   *Report
	files    []file
	expected *Expected
	progress Progress
	digests  map[string]string           // path on the card → SHA-256, where all of it was read
	running  map[string][]string         // likewise its running digests
	entries  map[string]file             // by key
	own      map[string][]byte           // contents of the record's folder, where it could be read
	wanted   map[string]media.RecordFile // payload by key
}

func (j *judging) judge() {
	j.digests, j.running = map[string]string{}, map[string][]string{}
	j.entries, j.own = map[string]file{}, map[string][]byte{}
	for _, e := range j.files {
		j.entries[key(e.path)] = e
	}
	found := j.readRecord()
	j.expect(found)
	j.hashAll()
	j.payload()
	j.others()
	j.signature()
	j.record(found)
}

// expect settles what the payload should be.
func (j *judging) expect(found *media.Record) {
	j.wanted = map[string]media.RecordFile{}
	switch {
	case !j.fromRecord():
		j.want(j.expected.Record.Files)
		if j.expected.Nothing {
			j.report.add(Finding{
				Kind: NothingNeeded, Severity: Stop,
				Expected: "no card", Found: "a card with files",
				Meaning: j.expected.Record.VesselName + " needs nothing from a card: every device runs the newest release that fits.",
				Advice:  "Put this card away.",
			})
		}
	case found != nil:
		j.want(found.Files)
		if !j.vouched() {
			j.nothingExpected("a record that nobody vouches for: for " + found.VesselName + ", by " + found.Shop)
		}
	default:
		j.nothingExpected("neither")
	}
}

func (j *judging) want(files []media.RecordFile) {
	for _, f := range files {
		j.wanted[key(f.Path)] = f
	}
}

// fromRecord tells whether nothing is known but what the card itself says.
func (j *judging) fromRecord() bool { return j.expected == nil || j.expected.FromRecord }

func (j *judging) nothingExpected(found string) {
	j.report.add(Finding{
		Kind: NothingExpected, Severity: Warn,
		Expected: "a vessel, or a record on the card that can be trusted", Found: found,
		Meaning: "It can be told what is on the card, not whether that is right.",
		Advice:  "Name the vessel: cardwright verify TARGET --for VESSEL",
	})
}

// hashAll reads every file of the card, in the order of its place, whether it
// is expected or not: the card's digest covers them all.
func (j *judging) hashAll() {
	files := make([]file, 0, len(j.files))
	for _, e := range j.files {
		if e.dir {
			j.report.Counts["folders"]++
			continue
		}
		files = append(files, e)
		j.report.Counts["files"]++
		j.report.Counts["bytes_of_files"] += int(e.size)
	}
	slices.SortStableFunc(files, func(a, b file) int { return cmp.Compare(a.place, b.place) })
	for _, e := range files {
		if j.ctx.Err() != nil {
			j.report.add(unreadable(e.path, -1, "reading was interrupted"))
			return
		}
		j.hash(e)
	}
}

func (j *judging) hash(e file) {
	running := media.NewRunning()
	err := e.read(j.ctx, func(p []byte) {
		running.Write(p)
		if j.progress != nil {
			j.progress(int64(len(p)))
		}
	})
	if err != nil {
		j.report.Counts["files_unreadable"]++
		j.report.add(unreadable(e.path, -1, err.Error()))
		return
	}
	j.digests[e.path], j.running[e.path] = running.SHA256(), running.Digests()
}

// payload compares every expected file with what is there.
func (j *judging) payload() {
	for _, f := range j.sortedWanted() {
		e, ok := j.entries[key(f.Path)]
		if !ok || e.dir {
			j.report.Counts["files_missing"]++
			j.report.add(Finding{
				Kind: MissingFile, Severity: Stop, Path: f.Path,
				Expected: media.Bytes(f.Size), Found: "no such file",
				Meaning: "A device that needs this file cannot be updated from this card.",
				Advice:  "Prepare the card again.",
			})
			continue
		}
		j.compare(f, e)
	}
}

func (j *judging) sortedWanted() []media.RecordFile {
	files := make([]media.RecordFile, 0, len(j.wanted))
	for _, f := range j.wanted {
		files = append(files, f)
	}
	slices.SortFunc(files, func(a, b media.RecordFile) int { return compareText(a.Path, b.Path) })
	return files
}

func (j *judging) compare(f media.RecordFile, e file) {
	if e.path != f.Path {
		j.report.add(Finding{
			Kind: NameCase, Severity: Warn, Path: e.path, Expected: f.Path, Found: e.path,
			Meaning: "The name differs in letter case; FAT32 takes both for one.",
			Advice:  "Nothing, unless the device does not show the file.",
		})
	}
	digest, read := j.digests[e.path]
	switch {
	case e.size != f.Size:
		j.report.Counts["files_differing"]++
		j.report.add(Finding{
			Kind: SizeDiffers, Severity: Stop, Path: e.path,
			Expected: media.Bytes(f.Size), Found: media.Bytes(e.size),
			Meaning: "The file is not whole, or is another one.", Advice: "Prepare the card again.",
		})
	case !read: // told where it was read
	case digest != f.SHA256:
		j.report.Counts["files_differing"]++
		j.report.add(Finding{
			Kind: ContentDiffers, Severity: Stop, Path: e.path,
			Expected: "SHA-256 " + f.SHA256, Found: "SHA-256 " + digest + j.firstDifference(f, e),
			Meaning: "The file was altered or damaged. A device that installed it could be left without working software.",
			Advice:  "Do not use the card. Prepare it again; if it happens again, use another card.",
		})
	default:
		j.report.Counts["files_matching"]++
	}
}

// others tells what is on the card that nothing expects: files, and folders
// with no file in them.
func (j *judging) others() {
	if j.fromRecord() && len(j.wanted) == 0 { // nothing to compare with
		return
	}
	filled := map[string]bool{}
	for _, e := range j.files {
		for p := parentOf(key(e.path)); p != "" && !e.dir; p = parentOf(p) {
			filled[p] = true
		}
	}
	for _, e := range j.files {
		k := key(e.path)
		_, wanted := j.wanted[k]
		if wanted && !e.dir || e.dir && filled[k] || j.isOwn(k) {
			continue
		}
		j.report.Counts["files_unexpected"]++
		j.report.add(j.extra(e))
	}
}

func (j *judging) extra(e file) Finding {
	f := Finding{
		Kind: ExtraFile, Severity: Stop, Path: e.path, Expected: "nothing", Found: media.Bytes(e.size),
		Meaning: "It is not part of what this vessel needs; a device may show it, or take it for an update.",
		Advice:  "Use a card that holds only what was prepared.",
	}
	if e.dir {
		f.Kind, f.Found = ExtraFolder, "an empty folder"
	}
	if j.expected != nil && j.expected.Beside {
		f.Severity, f.Expected = Note, "other files, as allowed"
	}
	return f
}

func (r *Report) conclude() {
	slices.SortStableFunc(r.Findings, func(a, b Finding) int {
		if c := rank(a.Severity) - rank(b.Severity); c != 0 {
			return c
		}
		if c := slices.Index(Kinds, a.Kind) - slices.Index(Kinds, b.Kind); c != 0 {
			return c
		}
		return compareText(a.Path, b.Path)
	})
	r.Verdict = verdict(r.Findings)
}

// Add adds a finding that the caller made, and concludes again.
func (r *Report) Add(f Finding) {
	r.add(f)
	r.conclude()
}

func (r *Report) add(f Finding) {
	if len(r.Findings) < MaxFindings {
		r.Findings = append(r.Findings, f)
		return
	}
	r.Counts["findings_left_out"]++
}

// MaxFindings is how many findings a report holds; a hostile card could give
// rise to millions. Those past it are counted.
const MaxFindings = 1000

func newReport() *Report {
	r := &Report{Format: Format, Findings: []Finding{}, Counts: map[string]int{}}
	for _, name := range []string{
		"files", "folders", "bytes_of_files", "files_matching", "files_differing", "files_missing",
		"files_unexpected", "files_unreadable", "findings_left_out", "bytes_of_card", "bytes_read", "cluster_bytes",
	} {
		r.Counts[name] = 0
	}
	return r
}

func rank(s Severity) int {
	return slices.Index([]Severity{Stop, Warn, Note}, s)
}
