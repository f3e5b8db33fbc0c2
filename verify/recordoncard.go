package verify

import (
	"bytes"
	"errors"
	"fmt"
	"path"

	"cardwright/media"
)

// recordOnCard is the record on a card, as far as it can be read.
type recordOnCard struct {
	is    *media.Record // nil: none, or none that can be understood
	err   error         // why a record there can't be understood
	newer bool          // because a newer cardwright made it
}

// readRecord decodes the record on a card. One that is, byte for byte, the
// expected one isn't decoded, which takes long for thousands of files.
func readRecord(card onCard, expected Expected) recordOnCard {
	text, ok := card.own[media.RecordPath]
	if !ok {
		return recordOnCard{}
	}
	if !expected.FromRecord {
		if want, err := expected.Record.Encode(); err == nil && bytes.Equal(text, want) {
			return recordOnCard{is: &expected.Record}
		}
	}
	record, err := media.DecodeRecord(text)
	if err != nil {
		return recordOnCard{err: err, newer: errors.Is(err, media.ErrNewerRecord)}
	}
	return recordOnCard{is: &record}
}

// ownPaths are the record's folder and what may be in it.
var ownPaths = []string{media.RecordFolder, media.RecordPath, media.SumsPath, media.InstallOrderPath, media.SignaturePath}

// judgeRecordForm reports a record that can't be understood.
func judgeRecordForm(m matched, report func(Finding)) {
	switch {
	case m.record.newer:
		report(newerRecord.at(media.RecordPath, fmt.Sprintf("a record of format %d", media.NewestRecordFormat), m.record.err.Error()))
	case m.record.err != nil:
		report(recordDamaged.at(media.RecordPath, "a record as cardwright writes it", m.record.err.Error()))
	}
}

// judgeRecord compares the record's folder with what it should be, byte for
// byte: with the files' digests it can be written again.
func judgeRecord(m matched, report func(Finding)) {
	if m.expected.Alone {
		return
	}
	if m.card.files.at(media.RecordFolder) == nil {
		judgeNoRecord(m, report)
		return
	}
	judgeOwnNames(m, report)
	want := m.record.is
	if !m.expected.FromRecord {
		want = &m.expected.Record
	}
	if want == nil || m.record.newer {
		return // nothing expected, or the record is reported as it is
	}
	if f, another := anothersRecord(m.record.is, m.expected); another {
		report(f)
		return
	}
	again := written(m, *want)
	if found := m.record.is; found != nil && found.VesselName != again.VesselName {
		report(earlierName.at(media.RecordPath, again.VesselName, found.VesselName))
		again = again.Named(found.VesselName)
	}
	judgeInstallOrder(m, &again, report)
	text, err := again.Encode()
	if err != nil {
		report(recordAltered.at(media.RecordPath, asWritten, err.Error()))
		return
	}
	if m.record.err == nil { // else it is reported already, see judgeRecordForm
		judgeOwnFile(m, recordAltered, media.RecordPath, text, report)
	}
	judgeOwnFile(m, sumsAltered, media.SumsPath, again.Sums(text), report)
}

// written is the record as it was written, with running digests of the files
// as they are. Of a file that differs those can't be formed; they are taken from
// the card's record.
func written(m matched, want media.Record) media.Record {
	again := want
	again.Files = make([]media.RecordFile, len(want.Files))
	for i, f := range want.Files {
		if at := m.card.files.at(f.Path); at.is(f.SHA256) {
			f.Running = at.Running
		} else if len(f.Running) == 0 && m.record.is != nil {
			f.Running = runningOf(*m.record.is, f)
		}
		again.Files[i] = f
	}
	return again
}

func judgeNoRecord(m matched, report func(Finding)) {
	d := noRecord
	if m.expected.FromRecord || m.expected.RecordOptional {
		d = d.weighing(Warn)
	}
	report(d.at(media.RecordFolder, "the record of what was put on the card", "none"))
}

// judgeOwnNames reports the record's files under other names than they were
// given, and of hidden ones.
func judgeOwnNames(m matched, report func(Finding)) {
	for _, p := range ownPaths {
		f := m.card.files.at(p)
		if f == nil {
			continue
		}
		if path.Base(f.Path) != path.Base(p) {
			report(nameCase.at(f.Path, p, f.Path))
		}
		if f.hidden {
			report(hiddenOwn.at(f.Path, "nothing hidden", markedHidden))
		}
	}
}

const (
	asWritten    = "as cardwright wrote it"
	markedHidden = "marked as hidden or as a system file"
	noSuchFile   = "no such file"
)

// anothersRecord tells when the record is, by its own word, that of another
// vessel, plan or card: then comparing further would only repeat it.
func anothersRecord(found *media.Record, expected Expected) (Finding, bool) {
	want := expected.Record
	if found == nil || expected.FromRecord {
		return Finding{}, false
	}
	d := otherVessel
	if expected.Nothing {
		d = othersNotNeeded
	}
	switch {
	case found.Vessel != want.Vessel:
		return d.at(media.RecordPath, want.VesselName+" ("+want.Vessel+")", found.VesselName+" ("+found.Vessel+")"), true
	case found.WayBack && !want.WayBack:
		return wayBackCard.at(media.RecordPath, "a card of updates", "a WAY BACK card"), true
	case want.WayBack && !found.WayBack:
		return updateCard.at(media.RecordPath, "a WAY BACK card", "a card of updates"), true
	case found.Plan != want.Plan:
		return otherPlan.at(media.RecordPath, "plan "+want.Plan, "plan "+found.Plan), true
	case found.Card != want.Card || found.Of != want.Of:
		return otherCard.at(media.RecordPath, fmt.Sprintf("card %d of %d", want.Card, want.Of), fmt.Sprintf("card %d of %d", found.Card, found.Of)), true
	}
	return Finding{}, false
}

// judgeInstallOrder compares the install order with what it should be, or, where
// that isn't known, takes over into the record what the card has. One that the
// card's record names may say it in other words, see reworded.
func judgeInstallOrder(m matched, r *media.Record, report func(Finding)) {
	f := m.card.files.fileAt(media.InstallOrderPath)
	switch {
	case f == nil:
		report(orderGone.at(media.InstallOrderPath, asWritten, noSuchFile))
	case f.SHA256 == "": // told where it was read
	case r.InstallOrder.SHA256 == "":
		r.InstallOrder = media.RecordFile{Path: media.InstallOrderPath, Size: f.Size, SHA256: f.SHA256, Running: f.Running}
	case f.is(r.InstallOrder.SHA256):
	case m.reworded != notReworded:
		r.InstallOrder = m.record.is.InstallOrder
		d := otherWording
		if m.reworded == unsignedWords {
			d = unsignedWording
		}
		report(d.at(media.InstallOrderPath, "the install order as it is written here", "other words for the same plan"))
	default:
		report(orderDiffers.at(media.InstallOrderPath, r.InstallOrder.SHA256.Named(), f.SHA256.Named()))
	}
}

// judgeOwnFile compares a file of the record's folder with the bytes it should
// have.
func judgeOwnFile(m matched, d diagnosis, path string, want []byte, report func(Finding)) {
	got, ok := m.card.own[path]
	f := m.card.files.fileAt(path)
	switch {
	case ok && bytes.Equal(got, want):
	case ok:
		report(d.at(path, asWritten, fmt.Sprintf("other bytes from byte %d on", firstOther(got, want))))
	case f == nil:
		report(d.at(path, asWritten, noSuchFile))
	case f.SHA256 != "": // else it is reported as unreadable
		report(d.at(path, asWritten, "a file of another size"))
	}
}
