package verify

import (
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
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
	r.expects(expected)
	counted := &counting{read: read}
	card := fatread.Read(counted, bytes, fatread.DefaultLimits)
	r.Counts["bytes_of_card"] = int(bytes)
	r.limits(bytes, expected)
	r.faults(card)
	if volume := r.volume(card, expected); volume != nil {
		j := judging{
			ctx: ctx, report: r, files: filesOf(volume, counted), expected: expected, progress: progress,
			blind: slices.ContainsFunc(card.Faults, fatread.Fault.Unread), twice: twiceOf(card.Faults), behind: volume.Behind,
		}
		j.judge()
		r.fileSystem(volume.FileSystem, expected)
		r.digest(card, j.digests, expected)
	}
	r.Counts["bytes_read"] = int(counted.asked)
	r.conclude()
	return *r
}

// counting counts what is asked of a card, whoever asks.
type counting struct {
	read  io.ReaderAt
	asked int64
}

func (c *counting) ReadAt(p []byte, off int64) (int, error) {
	c.asked += int64(len(p))
	return c.read.ReadAt(p, off)
}

// volume is the one file system of the card whose files can be read, or nil
// with a finding.
func (r *Report) volume(card *fatread.Card, expected *Expected) *fatread.Volume {
	if len(card.Volumes) == 0 {
		r.noVolume(card, expected)
		return nil
	}
	v := &card.Volumes[0]
	if len(card.Volumes) > 1 {
		r.add(several(fmt.Sprintf("%d file systems", len(card.Volumes)), "one file system"))
		return nil
	}
	if v.ClusterBytes == 0 { // named, not read
		r.fileSystem(v.FileSystem, expected)
		return nil
	}
	r.Counts["cluster_bytes"] = v.ClusterBytes
	r.partitions(card, v)
	r.layout(card, v)
	r.badClusters(v)
	return v
}

func several(found, expected string) Finding {
	return Finding{
		Kind: Structure, Severity: Stop, Expected: expected, Found: found,
		Meaning: "Devices differ in which of them they read.",
		Advice:  "Prepare the card again, or use another.",
	}
}

// partitions tells of a file system that isn't where every device looks for
// it first.
func (r *Report) partitions(card *fatread.Card, v *fatread.Volume) {
	switch {
	case len(card.Partitions) > 1:
		r.add(several(fmt.Sprintf("%d partitions", len(card.Partitions)), "one partition"))
	case card.Table == fatread.MBR && v.Partition != 1:
		r.add(several(fmt.Sprintf("it in entry %d", v.Partition), "the partition in the first entry of the table"))
	}
}

// mostCluster is the largest cluster that every device can be taken to read, in
// bytes (FAT32 specification, "Boot Sector and BPB": not greater than 32K).
const mostCluster = 32 << 10

// layout tells of what the specifications allow and advise against: whether the
// devices aboard read it isn't known from their card rules.
func (r *Report) layout(card *fatread.Card, v *fatread.Volume) {
	note := func(odd bool, expected, found string) {
		if !odd {
			return
		}
		r.add(Finding{
			Kind: UncommonLayout, Severity: Warn, Expected: expected, Found: found,
			Meaning: "Computers read such a card; not every device does. Whether those aboard do is not known.",
			Advice:  "Prepare a card of your own, laid out as devices expect it: " + r.repair(),
		})
	}
	note(card.Table == fatread.GPT, "a partition table of the old kind (MBR), as cards are sold with", "a GPT, as large disks have")
	note(v.SectorBytes != 512, "sectors of 512 bytes", fmt.Sprintf("sectors of %d bytes", v.SectorBytes))
	if v.FileSystem == fatread.ExFAT {
		return
	}
	note(v.FATs == 1, "2 FATs", "1 FAT")
	note(v.ClusterBytes > mostCluster, fmt.Sprintf("clusters of at most %d bytes", mostCluster), fmt.Sprintf("clusters of %d bytes", v.ClusterBytes))
}

// badClusters tells of places that a computer gave up.
func (r *Report) badClusters(v *fatread.Volume) {
	if v.Bad == 0 {
		return
	}
	r.add(Finding{
		Kind: MinorDamage, Severity: Warn, Expected: "no cluster marked bad", Found: fmt.Sprintf("%d clusters marked bad", v.Bad),
		Meaning: "A computer met places on this card that it could not use, and marked them. No file stands there; the card may be wearing out.",
		Advice:  "Nothing for now, if all files match. Use another card next time.",
	})
}

// noVolume tells what a card without a file system looks like.
func (r *Report) noVolume(card *fatread.Card, expected *Expected) {
	f := Finding{
		Kind: NoFileSystem, Severity: Stop, Expected: "a FAT32 file system", Found: "no file system that is known here",
		Meaning: "No device can read it.", Advice: "Prepare the card again, or use another.",
	}
	for _, p := range card.Partitions {
		switch p.FileSystem {
		case fatread.Unreadable: // told with its place; what is there isn't known
			return
		case fatread.Headless, fatread.Tableless:
			r.overwritten(&f, p.FileSystem)
		case fatread.Scrambled:
			f.Found = "bytes without any pattern"
			f.Meaning = "The card is encrypted, or was wiped with noise; no device can read it."
		case fatread.Blank:
			f.Found = "nothing: zeros where a file system would begin"
			f.Meaning = "The card is blank, was never formatted, or the writing of it was interrupted; no device can read it."
		case fatread.DamagedFAT:
			f.Found = "a FAT file system whose boot sector and its backup are both useless"
			f.Meaning = "The start of the file system is destroyed; no device can read it."
			f.Advice = rescue + r.newCard()
		}
	}
	r.add(f)
}

// rescue is what to do first where files may be left that nothing leads to.
const rescue = "If files on it are missed, do not format or write to it: keep it for whoever rescues files. For the boat, use another card: "

// overwritten tells of a file system of which only the beginning is gone.
func (r *Report) overwritten(f *Finding, what string) {
	f.Expected, f.Advice = "a FAT32 file system from its first sector on", rescue+r.newCard()
	if what == fatread.Headless {
		f.Found = "its first sector overwritten; the copy of it, in sector 6, is whole"
		f.Meaning = "The start of the file system is overwritten, or its writing was interrupted. The files may still be there, but no device finds them."
		return
	}
	f.Found = "the card's first sector overwritten; a FAT32 file system begins further on"
	f.Meaning = "The partition table is gone, or its writing was interrupted. The files may still be there, but no device finds them."
}

// fileSystem tells of a file system that the devices don't read, once it is
// known what is on it.
func (r *Report) fileSystem(name string, expected *Expected) {
	reads := []string{"fat32"}
	if expected != nil && len(expected.FileSystems) > 0 {
		reads = expected.FileSystems
	}
	if slices.Contains(reads, strings.ToLower(name)) {
		return
	}
	f := Finding{
		Kind: OtherFileSystem, Severity: Stop, Expected: fileSystemNames(reads), Found: name,
		Meaning: "The devices aboard do not read this file system, whatever is on it.",
		Advice:  "Use another card: " + r.newCard(),
	}
	switch {
	case expected == nil || expected.Aboard == nil || expected.Aboard.Vessel == nil:
		f.Meaning = "Cards for devices are FAT32 unless their maker says otherwise, and no vessel was named that would tell."
		f.Advice = "Name the vessel, and have its files written to another card: " + r.repair()
	case expected.Nothing:
		f.Advice = "Put this card away."
	case r.rightFiles():
		f.Meaning = "Right files, wrong file system: the devices aboard do not read it."
		f.Advice = "Copy them to a card that your devices can read: " + r.repair()
	case r.Counts["files_matching"] > 0:
		f.Meaning += " Some of the files are right."
		f.Advice = "Have the rest written with them, to a card that the devices can read: " + r.repair()
	}
	r.add(f)
}

// rightFiles tells whether every expected file is there, whole.
func (r *Report) rightFiles() bool {
	c := r.Counts
	return c["files_matching"] > 0 && c["files_missing"]+c["files_differing"]+c["files_unreadable"] == 0
}

// RightFilesOnly tells of a card that is bad for its file system alone: every
// expected file is on it, whole.
func (r Report) RightFilesOnly() bool {
	onlyThat := !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Severity == Stop && f.Kind != OtherFileSystem })
	return r.bad && onlyThat && r.rightFiles() && r.Counts["findings_left_out"] == 0
}

func fileSystemNames(names []string) string {
	shown := map[string]string{"exfat": fatread.ExFAT}
	var all []string
	for _, n := range names {
		if s, ok := shown[n]; ok {
			n = s
		} else {
			n = strings.ToUpper(n)
		}
		all = append(all, n)
	}
	return strings.Join(all, " or ")
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

// minor are faults in book-keeping that no file depends on; machines that used
// a card leave them behind.
var minor = map[fatread.FaultKind]bool{
	fatread.InfoFree: true, fatread.InfoNext: true, fatread.DirtyFlag: true, fatread.ErrorFlag: true,
	fatread.LabelDiffers: true, fatread.LabelExtra: true, fatread.EntryTime: true, fatread.ClustersLost: true,
	fatread.HiddenSectors: true, fatread.BootCode: true, fatread.BootAlone: true, fatread.TableLeft: true, fatread.EntryBehind: true,
}

// meanings of faults that are no damage, or whose cause is known; of all others
// it is that devices may read a damaged file system differently.
var meanings = map[fatread.FaultKind]string{
	fatread.PartitionType:    "The partition table says something else than is there: devices may pass it over",
	fatread.PartitionOutside: "The partition is larger than the card: a card that claims more than it holds, or a copy that was cut short",
	fatread.VolumeSize:       "The file system is larger than the room for it: a card that claims more than it holds, or a copy that was cut short",
	fatread.TableAmbiguous:   "The card says in two ways what is on it: some devices go by the one, some by the other",
	fatread.TableStale:       "The card has a table left from before: some devices go by it",
	fatread.FATsDiffer:       "The two copies of the table that leads to the files differ: devices may go by either",
	fatread.BootCode:         "The boot sector's copy differs in what no device goes by: boot code, or the names and numbers beside it",
	fatread.BootAlone:        "The boot sector has no copy: if it is damaged, nothing leads to the files",
	fatread.TableLeft:        "The end of the card has the backup of a table from before; no device goes by it alone",
	fatread.EntryBehind:      "Bytes from before stand behind the end of a folder: readers stop there, and no file depends on them",
}

// faults tells what is wrong with the file system itself.
func (r *Report) faults(card *fatread.Card) {
	for _, f := range card.Faults {
		if f.Kind != fatread.NameTwice { // told once it is known what is wanted
			r.fault(f)
		}
	}
	if card.FaultsLeftOut > 0 {
		r.add(Finding{
			Kind: Structure, Severity: Stop,
			Expected: "a sound file system", Found: fmt.Sprintf("%d more faults", card.FaultsLeftOut),
			Meaning: "The file system is damaged beyond what can be listed.", Advice: "Use another card.",
		})
	}
}

func (r *Report) fault(f fatread.Fault) {
	if f.Unread() {
		r.add(unreadable(f.Path, f.Offset, f.Found))
		return
	}
	where := ""
	if f.Offset >= 0 {
		where = fmt.Sprintf(" (byte %d of the card)", f.Offset)
	}
	finding := Finding{
		Kind: Structure, Severity: Stop, Path: f.Path,
		Expected: f.Expected, Found: f.Found + where,
		Meaning: "The file system is damaged (" + string(f.Kind) + "); devices may read it differently.",
		Advice:  "Prepare the card again; if it happens again, use another card.",
	}
	if minor[f.Kind] {
		finding.Kind, finding.Severity = MinorDamage, Warn
		finding.Meaning = "The file system's book-keeping is off (" + string(f.Kind) + "). No file depends on it."
		finding.Advice = "Nothing, if all files match; else prepare the card again."
	}
	if meaning, ok := meanings[f.Kind]; ok {
		finding.Meaning = meaning + " (" + string(f.Kind) + ")."
	}
	r.add(finding)
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
	told := len(card.Faults)
	sum, ok := card.Digest(func(e fatread.Entry) (d [32]byte, ok bool) {
		n, err := hex.Decode(d[:], []byte(digests[e.Path]))
		return d, err == nil && n == len(d)
	})
	for _, f := range card.Faults[told:] { // met while forming the digest
		r.add(unreadable(f.Path, f.Offset, f.Found))
	}
	if !ok {
		r.noDigest(expected)
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

// noDigest tells that a card can't be compared with the one that was written,
// where nothing else tells why.
func (r *Report) noDigest(expected *Expected) {
	stops := func(f Finding) bool { return f.Severity == Stop }
	if expected == nil || expected.Digest == "" || slices.ContainsFunc(r.Findings, stops) {
		return
	}
	r.add(unreadable("", -1, "no digest of the card could be formed"))
}

// file is one file or folder that is on a card.
type file struct {
	path     string
	size     int64
	dir      bool
	hidden   bool
	short    string // the name in capitals, 8 and 3 characters, that stands beside a long one; "": there is none, or it isn't known
	place    int64  // files are read in the order of their place
	modified time.Time
	open     func() (io.ReadCloser, error)
	at       io.ReaderAt // nil where it can only be read from its start
}

func filesOf(v *fatread.Volume, card io.ReaderAt) []file {
	files := make([]file, len(v.Entries))
	for i, e := range v.Entries {
		files[i] = file{
			path: e.Path, size: e.Size, dir: e.Dir, hidden: e.Hidden || e.System, short: e.ShortName, place: int64(e.First), modified: e.Modified,
			open: func() (io.ReadCloser, error) { return io.NopCloser(v.Open(e)), nil },
			at:   extentsOf(v, e, card),
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
	paths    map[string]file             // by path as it stands on the card
	entries  map[string]file             // by key: of several, the first
	twice    []pair                      // names in one folder that the file system takes for one
	behind   []fatread.Entry             // behind folders' end marks
	own      map[string][]byte           // contents of the record's folder, where it could be read
	wanted   map[string]media.RecordFile // payload by key

	absent         []media.RecordFile // wanted, and not at its path
	absentBut      map[string]string  // by key of an absent file: what was found instead
	moved          map[string]string  // key of a wanted file → path where it is
	placed         map[string]bool    // paths of files that are wanted files in a moved folder
	known          map[string][]release
	packageEndings map[string]bool // see endings
	packageNames   map[string]bool // see named
	byName         map[string]file // see lookAlike
	unzipped       uint64          // bytes unpacked from archives so far
	newer          bool            // a newer cardwright made the record
	blind          bool            // a part of what describes the files couldn't be read: there may be more of them
}

func (j *judging) judge() {
	j.digests, j.running = map[string]string{}, map[string][]string{}
	j.index()
	j.absentBut, j.moved, j.placed = map[string]string{}, map[string]string{}, map[string]bool{}
	j.known = j.catalogue()
	found := j.readRecord()
	j.expect(found)
	j.hashAll()
	j.payload()
	j.others()
	j.withdrawn()
	j.missing()
	j.names()
	j.twins()
	j.behindMarks()
	j.unseen()
	j.steps()
	j.oneRelease()
	j.outdatedOrder()
	j.atPowerUp()
	j.fits()
	j.superseded(found)
	j.signature()
	j.record(found)
}

// index makes the files and folders known by their paths.
func (j *judging) index() {
	j.paths, j.entries, j.own = map[string]file{}, map[string]file{}, map[string][]byte{}
	for _, e := range j.files {
		if _, ok := j.paths[e.path]; !ok {
			j.paths[e.path] = e
		}
		if _, ok := j.entries[key(e.path)]; !ok {
			j.entries[key(e.path)] = e
		}
	}
}

// at is what stands at a path: under just that name, or else under one in
// other letter case.
func (j *judging) at(path string) (file, bool) {
	e, ok := j.paths[path]
	if !ok {
		e, ok = j.entries[key(path)]
	}
	return e, ok
}

// isAt tells whether this is what stands at a path.
func (j *judging) isAt(e file, path string) bool {
	at, ok := j.at(path)
	return ok && at.path == e.path
}

// isWanted tells whether this stands where a wanted file should.
func (j *judging) isWanted(e file) bool {
	w, ok := j.wanted[key(e.path)]
	return ok && j.isAt(e, w.Path)
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
		Advice:  "Name the vessel: " + j.report.command(""),
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
	done := 0
	running := media.NewRunning()
	readAhead(j.ctx, files, func(p part) {
		running.Write(p.bytes)
		if j.progress != nil {
			j.progress(int64(len(p.bytes)))
		}
		if p.last {
			j.hashed(files[done], running, p.err)
			running = media.NewRunning()
			done++
		}
	})
	if done < len(files) {
		j.report.add(unreadable(files[done].path, -1, "reading was interrupted"))
	}
}

// hashed keeps what one file was found to be.
func (j *judging) hashed(e file, running *media.Running, err error) {
	if errors.Is(err, fatread.ErrChainEnds) { // all of it that there is was read
		j.report.Counts["files_unreadable"]++
		j.report.add(Finding{
			Kind: Structure, Severity: Stop, Path: e.path, Expected: media.Bytes(e.size) + " of its own",
			Found:   "the chain that leads to its bytes ends, or runs into another file's, before that",
			Meaning: "The file system is damaged: this file can't be read whole.",
			Advice:  "Prepare the card again; if it happens again, use another card.",
		})
		return
	}
	if err != nil {
		j.report.Counts["files_unreadable"]++
		j.report.add(unreadable(e.path, -1, err.Error()))
		return
	}
	j.digests[e.path], j.running[e.path] = running.SHA256(), running.Digests()
	j.report.whole[j.digests[e.path]] = e
}

// payload compares every expected file with what is there; what isn't there
// is told once it is known that it isn't elsewhere.
func (j *judging) payload() {
	for _, f := range j.sortedWanted() {
		if e, ok := j.at(f.Path); ok && !e.dir {
			j.compare(f, e)
		} else {
			j.absent = append(j.absent, f)
		}
	}
	j.elsewhere()
}

// missing tells what is nowhere on the card as it should be.
func (j *judging) missing() {
	for _, f := range j.absent {
		j.missingFile(f)
	}
}

func (j *judging) missingFile(f media.RecordFile) {
	j.report.Counts["files_missing"]++
	finding := Finding{
		Kind: MissingFile, Severity: Stop, Path: f.Path,
		Expected: media.Bytes(f.Size), Found: "no such file",
		Meaning: "A device that needs this file cannot be updated from this card.",
		Advice:  "Prepare the card again.",
	}
	what := j.absentBut[key(f.Path)]
	if e, ok := j.lookAlike(f.Path); ok {
		what = fmt.Sprintf("a name that some devices alone may take for it stands at %s", e.path)
	}
	if what != "" {
		finding.Found += "; " + what
	} else if j.blind {
		finding.Severity, finding.Found = Warn, "not seen"
		finding.Meaning = "A part of the card that tells which files there are could not be read: it may be there."
		finding.Advice = "Clean the contacts, try another reader, and verify again."
	}
	j.report.add(finding)
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
		j.nameCase(e, f.Path)
	}
	digest, read := j.digests[e.path]
	switch {
	case read && digest == f.SHA256:
		j.report.Counts["files_matching"]++
	case !read && e.size == f.Size: // told where it was read
	default:
		j.report.Counts["files_differing"]++
		j.report.add(j.differing(f, e, digest))
	}
}

func (j *judging) nameCase(e file, want string) {
	j.report.add(Finding{
		Kind: NameCase, Severity: Warn, Path: e.path, Expected: want, Found: e.path,
		Meaning: "The name differs in letter case; FAT32 takes both for one.",
		Advice:  "Nothing, unless the device does not show the file.",
	})
}

// differing is a file that stands where an expected one should.
func (j *judging) differing(f media.RecordFile, e file, digest string) Finding {
	finding := Finding{
		Kind: ContentDiffers, Severity: Stop, Path: e.path,
		Meaning: "The file was altered or damaged. A device that installed it could be left without working software.",
		Advice:  "Do not use the card. Prepare it again; if it happens again, use another card.",
	}
	if e.size != f.Size {
		finding.Kind, finding.Expected, finding.Found = SizeDiffers, media.Bytes(f.Size), media.Bytes(e.size)
		finding.Meaning, finding.Advice = "The file is not whole, or is another one.", "Prepare the card again."
		if j.isPrefix(f, e) {
			return truncated(e, f.Path, f.Size)
		}
	} else {
		finding.Expected, finding.Found = "SHA-256 "+f.SHA256, "SHA-256 "+digest+j.firstDifference(f, e)
	}
	if what := j.recognised(digest); what != "" {
		finding.Found += ": " + what
	}
	return finding
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
	r.Verdict = r.verdict()
}

// Add adds a finding that the caller made, and concludes again.
func (r *Report) Add(f Finding) {
	r.weigh(f)
	r.Findings = append(r.Findings, f)
	r.conclude()
}

func (r *Report) add(f Finding) {
	r.weigh(f)
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
	r := &Report{asked: askedFor(nil), Format: Format, Findings: []Finding{}, Counts: map[string]int{}, Brings: []Bring{}, whole: map[string]file{}}
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
