// Package verify judges cards: what is on one, against what was expected,
// gives findings and a verdict. It never writes to a card, and never calls a
// card good of which it could not read everything that matters.
//
// A report is made in four steps, each from the value of the one before: what is
// read (onCard), which of it is wanted (matched), what is wrong (judged), and the
// conclusion (Report). Commands that advice names are the caller's.
package verify

import (
	"io"
	"slices"
	"strings"

	"cardwright/manifest/digest"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// format is the version of the report's JSON form.
const format = 1

// Verdict is the conclusion of a report.
type Verdict string

// The verdicts. What could not be checked is never good.
const (
	Good      Verdict = "good"
	Bad       Verdict = "bad"
	Unchecked Verdict = "unchecked"
)

// Severity is how much a finding weighs.
type Severity string

// A stop makes the verdict bad; a warning doesn't, but wants a person's eye.
const (
	Stop Severity = "stop"
	Warn Severity = "warn"
	Note Severity = "note"
)

// Report is the outcome of judging one card.
type Report struct {
	Format   int       `json:"format"`
	Verdict  Verdict   `json:"verdict"`
	Findings []Finding `json:"findings"` // from worst to least
	Counts   Counts    `json:"counts"`
	Card     int       `json:"card"`   // which card of the vessel's plan it was judged d; 0 without a vessel
	Digest   string    `json:"digest"` // of the card, 64 hex digits; "" where it could not be formed
	Brings   []Bring   `json:"brings"` // which steps of the vessel's plan it can do; none without a vessel

	fits     []fitting
	commands Commands
	repairs  bool                    // a good card can be written for the vessel
	weight   weight                  // of all findings, those left out too
	whole    map[digest.SHA256]*file // files that could be read to their end, by SHA-256
}

// Counts of what was read of a card, and of how it compares.
type Counts struct {
	BytesOfCard     int `json:"bytes_of_card"` // 0: a folder
	BytesOfFiles    int `json:"bytes_of_files"`
	BytesRead       int `json:"bytes_read"` // 0: a folder
	ClusterBytes    int `json:"cluster_bytes"`
	Files           int `json:"files"`
	FilesDiffering  int `json:"files_differing"`
	FilesMatching   int `json:"files_matching"`
	FilesMissing    int `json:"files_missing"`
	FilesUnexpected int `json:"files_unexpected"`
	FilesUnreadable int `json:"files_unreadable"`
	FindingsLeftOut int `json:"findings_left_out"`
	Folders         int `json:"folders"`
}

// rightFiles reports whether every expected file is there, whole.
func (c Counts) rightFiles() bool {
	return c.FilesMatching > 0 && c.FilesMissing+c.FilesDiffering+c.FilesUnreadable == 0
}

// conclude makes the report of a judged card.
func conclude(j judged) Report {
	r := Report{
		Format: format, Findings: j.list, Counts: countsOf(j.matched), Digest: j.card.digest, Brings: brings(j.matched),
		fits: j.fits, commands: j.expected.Commands, repairs: j.expected.visit() != nil && !j.expected.Nothing,
		weight: j.weight, whole: map[digest.SHA256]*file{},
	}
	if r.Findings == nil {
		r.Findings = []Finding{}
	}
	if j.expected.Aboard != nil && !j.expected.Nothing {
		r.Card = j.expected.Aboard.Card
	}
	if j.card.medium != nil {
		r.Counts.BytesRead = int(j.card.medium.asked)
	}
	r.Counts.FindingsLeftOut = j.leftOut
	for _, f := range j.card.files.all {
		if f.SHA256 != "" {
			r.whole[f.SHA256] = f
		}
	}
	explain(j.matched, r.Findings)
	for i := range r.Findings {
		r.Findings[i] = r.Findings[i].withCommands(r.commands)
	}
	r.settle()
	return r
}

// countsOf counts what was read and how it compares.
func countsOf(m matched) Counts {
	c := Counts{BytesOfCard: int(m.card.bytes)}
	if m.card.volume != nil {
		c.ClusterBytes = m.card.volume.ClusterBytes
	}
	for _, f := range m.card.files.all {
		switch {
		case f.dir:
			c.Folders++
			continue
		case f.err != nil:
			c.FilesUnreadable++
		}
		c.Files++
		c.BytesOfFiles += int(f.Size)
	}
	for _, p := range m.pairs {
		switch p.state() {
		case same:
			c.FilesMatching++
		case differs:
			c.FilesDiffering++
		}
	}
	for _, s := range m.moved {
		c.FilesMatching += len(s.files)
	}
	c.FilesMissing, c.FilesUnexpected = len(m.absent), len(m.others)
	return c
}

// brings reports which steps of the plan the card can do.
func brings(m matched) []Bring {
	all := []Bring{}
	visit := m.expected.visit()
	if visit == nil || !m.card.hasFiles() {
		return all
	}
	for _, s := range visit.Plan.Steps {
		b := Bring{Step: s.Number, Device: s.Device, From: s.From, To: s.To, Card: s.Card, Folder: m.folderOf(s), Missing: []string{}}
		for _, f := range s.Files {
			if !m.fileOf(s, f).is(f.SHA256) {
				b.Missing = append(b.Missing, below(s.Folder, f.Name))
			}
		}
		b.Whole = len(b.Missing) == 0
		all = append(all, b)
	}
	return all
}

// settle puts the findings in their order, and concludes the verdict.
func (r *Report) settle() {
	slices.SortStableFunc(r.Findings, func(a, b Finding) int {
		if c := rank(a.Severity) - rank(b.Severity); c != 0 {
			return c
		}
		if c := slices.Index(Kinds, a.Kind) - slices.Index(Kinds, b.Kind); c != 0 {
			return c
		}
		return strings.Compare(a.Path, b.Path)
	})
	r.Verdict = r.weight.verdict()
}

func rank(s Severity) int { return slices.Index([]Severity{Stop, Warn, Note}, s) }

// Add adds a finding that the caller made, and concludes again.
func (r *Report) Add(f Finding) {
	r.weight.add(f)
	r.Findings = append(r.Findings, f.withCommands(r.commands))
	r.settle()
}

// AddCached adds that what was read may have come from a cache.
func (r *Report) AddCached(found string) { r.Add(fromCache(found)) }

func fromCache(found string) Finding {
	return notFromMedium.at("", "reads from the card itself", found)
}

// AddImageOnly adds what the verdict on an image can't say. The file owes no
// more than to hold what was written to it; the card is proven on the card.
func (r *Report) AddImageOnly() { r.Add(imageOnly.at("", "a card", "an image file")) }

// RightFilesOnly reports a card that is bad for its file system alone: every
// expected file is on it, whole.
func (r Report) RightFilesOnly() bool {
	onlyThat := !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Severity == Stop && f.Kind != OtherFileSystem })
	return r.weight.bad && onlyThat && r.Counts.rightFiles() && r.Counts.FindingsLeftOut == 0
}

// Fits names the vessels that the files on the card are for, as far as a shop is
// known: of a card without a record that isn't the one for the named vessel, too.
func (r Report) Fits() (names []string) {
	for _, f := range r.fits {
		names = append(names, f.vessel.Name)
	}
	return names
}

// OrderOutdated reports that the install order on the card must not be followed.
func (r Report) OrderOutdated() bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Kind == OutdatedOrder })
}

// RepairCommand is the caller's command that writes a good card for the vessel
// that was named; "" where none was named, or it needs no card.
func (r Report) RepairCommand() string {
	if !r.repairs {
		return ""
	}
	return r.commands.Repair
}

// Whole opens a file of the card with this SHA-256, or gives nil where none
// was found. It works as long as the card is open.
func (r Report) Whole(sha256 digest.SHA256) func() (io.ReadCloser, error) {
	f, ok := r.whole[sha256]
	if !ok {
		return nil
	}
	return f.open
}

// Bring is one step of a plan, and whether a card holds all it needs.
type Bring struct {
	Step    int       `json:"step"`
	Device  string    `json:"device"`
	From    version.V `json:"from"`
	To      version.V `json:"to"`
	Card    int       `json:"card"`   // of the plan's set
	Folder  string    `json:"folder"` // where its files are on this card
	Whole   bool      `json:"whole"`
	Missing []string  `json:"missing"`
}

// Finding is one thing that was found. Path, Expected and Found are as they
// were read: whoever shows them escapes them.
type Finding struct {
	Kind     Kind     `json:"kind"`
	Severity Severity `json:"severity"`
	Path     string   `json:"path"`
	problem.Problem
	Because Kind `json:"because,omitempty"` // kind of the finding that this one follows from; "": it stands for itself
}

// Kind names what was found; the list is closed (see Kinds).
type Kind string
