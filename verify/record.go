package verify

import (
	"bytes"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"cardwright/media"
)

// readRecord reads the record's folder as far as it is there. A record that
// can't be understood is told of, and nothing is taken from it.
func (j *judging) readRecord() *media.Record {
	for _, path := range []string{media.RecordPath, media.SumsPath, media.SignaturePath} {
		e, ok := j.at(path)
		if !ok || e.dir || e.size > media.MaxRecordBytes {
			continue
		}
		content, err := e.content()
		if err != nil {
			continue // told when all files are hashed
		}
		j.own[path] = content
	}
	text, ok := j.own[media.RecordPath]
	if !ok {
		return nil
	}
	if j.isAsWritten(text) {
		r := j.expected.Record
		return &r
	}
	r, err := media.DecodeRecord(text)
	if errors.Is(err, media.ErrNewerRecord) {
		j.newer = true
		j.report.add(Finding{
			Kind: NewerRecord, Severity: Warn, Path: media.RecordPath,
			Expected: fmt.Sprintf("a record of format %d", media.RecordFormat), Found: err.Error(),
			Meaning: "A newer cardwright made this card. What its record says can't be read here.",
			Advice:  "Update cardwright on this computer, and verify the card again.",
		})
		return nil
	}
	if err != nil {
		j.report.add(Finding{
			Kind: RecordAltered, Severity: Stop, Path: media.RecordPath,
			Expected: "a record as cardwright writes it", Found: err.Error(),
			Meaning: "The record was altered or damaged.", Advice: "Prepare the card again.",
		})
		return nil
	}
	return &r
}

// isAsWritten spares a card that was just written the decoding of its record,
// which takes long for thousands of files.
func (j *judging) isAsWritten(text []byte) bool {
	if j.fromRecord() {
		return false
	}
	want, err := j.expected.Record.Encode()
	return err == nil && bytes.Equal(text, want)
}

// isOwn tells whether a path belongs to the record's folder as it should be.
func (j *judging) isOwn(e file) bool {
	if j.expected != nil && j.expected.Alone {
		return false
	}
	return slices.ContainsFunc(ownPaths, func(p string) bool { return j.isAt(e, p) })
}

// ownPaths are the record's folder and what may stand in it.
var ownPaths = []string{media.RecordFolder, media.RecordPath, media.SumsPath, media.InstallOrderPath, media.SignaturePath}

// ownNames tells of the record's files under other names than they were given.
func (j *judging) ownNames() {
	for _, p := range ownPaths {
		e, ok := j.at(p)
		if !ok {
			continue
		}
		if path.Base(e.path) != path.Base(p) {
			j.nameCase(e, p)
		}
		if e.hidden {
			j.report.add(Finding{
				Kind: HiddenFile, Severity: Warn, Path: e.path, Expected: "nothing hidden", Found: "marked as hidden or as the system's",
				Meaning: "Whoever looks for the install order on the card may not see it. No device depends on it.",
				Advice:  "Nothing, if the order is on paper.",
			})
		}
	}
}

// record compares the record's folder with what it should be, byte for byte:
// with the digests that were just formed it can be written again.
func (j *judging) record(found *media.Record) {
	if j.expected != nil && j.expected.Alone {
		return
	}
	want := found
	if !j.fromRecord() {
		want = &j.expected.Record
	}
	if !j.hasOwn() {
		j.noRecord()
		return
	}
	j.ownNames()
	if want == nil || j.newer {
		return // nothing expected, or the record is told of as it is
	}
	if found != nil && j.another(found, want) {
		return
	}
	again := *want
	again.Files = make([]media.RecordFile, len(want.Files))
	for i, f := range want.Files {
		if e, ok := j.at(f.Path); ok && j.digests[e.path] == f.SHA256 {
			f.Running = j.running[e.path]
		} else if len(f.Running) == 0 && found != nil {
			f.Running = runningOf(*found, f) // of a file that differs they can't be formed
		}
		again.Files[i] = f
	}
	j.installOrder(&again, found)
	text, err := again.Encode()
	if err != nil {
		j.report.add(altered(RecordAltered, media.RecordPath, err.Error()))
		return
	}
	j.same(RecordAltered, media.RecordPath, text)
	j.same(SumsAltered, media.SumsPath, again.Sums(text))
}

func (j *judging) hasOwn() bool {
	_, ok := j.at(media.RecordFolder)
	return ok
}

func (j *judging) noRecord() {
	f := Finding{
		Kind: NoRecord, Severity: Stop, Path: media.RecordFolder,
		Expected: "the record of what was put on the card", Found: "none",
		Meaning: "The card was not made by cardwright, or its record was removed. It is judged by its contents.",
		Advice:  "Prepare a card of your own where you want it known later what was on it.",
	}
	if j.fromRecord() || j.expected.RecordOptional {
		f.Severity = Warn
	}
	j.report.add(f)
}

// another tells when the record is, by its own word, that of another vessel,
// plan or card: then comparing further would only repeat it.
func (j *judging) another(found, want *media.Record) bool {
	f := Finding{Severity: Stop, Path: media.RecordPath, Advice: "Use the card that was made for this vessel and plan, or prepare this one again."}
	switch {
	case found.Vessel != want.Vessel:
		f.Kind, f.Expected, f.Found = OtherVessel, want.VesselName+" ("+want.Vessel+")", found.VesselName+" ("+found.Vessel+")"
		f.Meaning = "The card was made for another vessel."
	case found.Plan != want.Plan:
		f.Kind, f.Expected, f.Found = OtherPlan, "plan "+want.Plan, "plan "+found.Plan
		f.Meaning = "The card was made for another plan of this vessel: its devices or the catalogue have changed since."
	case found.Card != want.Card || found.Of != want.Of:
		f.Kind = OtherCard
		f.Expected, f.Found = fmt.Sprintf("card %d of %d", want.Card, want.Of), fmt.Sprintf("card %d of %d", found.Card, found.Of)
		f.Meaning = "It is another card of the set."
	default:
		return false
	}
	j.report.add(f)
	return true
}

// installOrder compares the install order with what it should be, or, where
// that isn't known, takes over what the card has. One that the card's record
// names may say it in other words, see otherWords.
func (j *judging) installOrder(r *media.Record, found *media.Record) {
	e, ok := j.at(media.InstallOrderPath)
	if !ok || e.dir {
		j.report.add(altered(OrderAltered, media.InstallOrderPath, "no such file"))
		return
	}
	digest, read := j.digests[e.path]
	if !read {
		return
	}
	if r.InstallOrder.SHA256 == "" {
		r.InstallOrder = media.RecordFile{Path: media.InstallOrderPath, Size: e.size, SHA256: digest, Running: j.running[e.path]}
		return
	}
	if r.InstallOrder.SHA256 == digest {
		return
	}
	if found != nil && found.InstallOrder.SHA256 == digest && j.otherWords(e) {
		r.InstallOrder = found.InstallOrder
		return
	}
	f := altered(OrderAltered, media.InstallOrderPath, "SHA-256 "+digest)
	f.Expected = "SHA-256 " + r.InstallOrder.SHA256
	f.Meaning = "The install order on the card is not the one for this plan."
	j.report.add(f)
}

// same compares a file of the record's folder with the bytes it should have.
func (j *judging) same(kind Kind, path string, want []byte) {
	got, ok := j.own[path]
	switch {
	case !ok:
		e, there := j.at(path)
		if !there || e.dir {
			j.report.add(altered(kind, path, "no such file"))
		} else if _, read := j.digests[e.path]; read { // else it is told as unreadable
			j.report.add(altered(kind, path, "a file of another size"))
		}
	case !bytes.Equal(got, want):
		j.report.add(altered(kind, path, "other bytes from byte "+fmt.Sprint(firstOther(got, want))+" on"))
	}
}

func altered(kind Kind, path, found string) Finding {
	return Finding{
		Kind: kind, Severity: Stop, Path: path,
		Expected: "as cardwright wrote it", Found: found,
		Meaning: "It was altered or damaged after the card was made.",
		Advice:  "Prepare the card again.",
	}
}

func firstOther(a, b []byte) int {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}

func parentOf(path string) string {
	i := strings.LastIndexByte(path, '/')
	return path[:max(i, 0)]
}

func compareText(a, b string) int { return strings.Compare(a, b) }
