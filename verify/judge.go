package verify

import (
	"errors"
	"path"
	"slices"
	"time"

	"cardwright/media"
	"cardwright/verify/fatread"
	"cardwright/verify/visible"
)

// judged is a matched card and what was found on it: the third value on the way
// to a report.
type judged struct {
	matched
	findings
}

// findings are those of one card. A hostile card could give rise to millions:
// those past MaxFindings are counted, and weigh like all others.
type findings struct {
	list    []Finding
	leftOut int
	weight  weight
}

// MaxFindings is how many findings a report holds.
const MaxFindings = 1000

func (f *findings) add(one Finding) {
	f.weight.add(one)
	if len(f.list) < MaxFindings {
		f.list = append(f.list, one)
		return
	}
	f.leftOut++
}

// judges each look at one thing on a matched card. They read nothing, and none
// uses what another has reported. Their order is that of findings which nothing
// else puts in order.
var judges = []func(matched, func(Finding)){
	judgeSize, judgeFaults, judgeVolume, judgeFolder,
}

// judgesOfFiles look at a card whose files were read.
var judgesOfFiles = []func(matched, func(Finding)){
	judgeRecordForm, judgeExpectation, judgeReading,
	judgeWanted, judgeMoved, judgeOthers, judgeWithdrawn, judgeReplaced, judgeAbsent,
	judgeNames, judgeSameNames, judgeBehindEnds, judgePassedOver,
	judgeReleases, judgeFolderNames, judgePowerUp, judgeVessels, judgePlan,
	judgeSignature, judgeRecord,
}

// judge judges a card by everything that it should be.
func judge(m matched) judged {
	j := judged{matched: m}
	for _, look := range judges {
		look(m, j.add)
	}
	if m.card.hasFiles() {
		for _, look := range judgesOfFiles {
			look(m, j.add)
		}
	}
	judgeFileSystem(m, j.add)
	judgeDigest(m, j.weight.stops, j.add)
	return j
}

// judgeExpectation reports where there is nothing to compare the card with, or
// where the vessel needs no card.
func judgeExpectation(m matched, report func(Finding)) {
	const trusted = "a vessel, or a record on the card that can be trusted"
	switch r := m.record.is; {
	case !m.expected.FromRecord && m.expected.Nothing:
		report(nothingNeeded.meaningOf(m.expected.Record.VesselName).at("", "no card", "a card with files"))
	case !m.expected.FromRecord:
	case r == nil:
		report(nothingExpected.at("", trusted, "neither"))
	case !m.signer.vouches():
		report(nothingExpected.at("", trusted, "a record signed by nobody known: for "+r.VesselName+", by "+r.Shop))
	case r.WayBack:
		report(wayBackAlone.at(media.RecordPath, "the way back that it was made for", "a WAY BACK card for "+r.VesselName))
	}
}

// judgeReading reports files that couldn't be read to their end.
func judgeReading(m matched, report func(Finding)) {
	for _, f := range m.card.files.all {
		switch {
		case f.err == nil:
		case errors.Is(f.err, fatread.ErrChainEnds): // all of it that there is was read
			report(chainTooShort.at(f.Path, media.Bytes(f.Size)+" of its own", "its chain of clusters ends, or runs into another file's, before that"))
		default:
			report(notRead(f.Path, -1, f.err.Error()))
		}
	}
	if m.card.stopped != nil {
		report(notRead(m.card.stopped.Path, -1, "reading was interrupted"))
	}
}

// judgeWanted compares the files in the places of wanted ones.
func judgeWanted(m matched, report func(Finding)) {
	for _, p := range m.pairs {
		if p.found.Path != p.want.Path {
			report(nameCase.at(p.found.Path, p.want.Path, p.found.Path))
		}
		if p.state() == differs {
			report(differing(m.known, p))
		}
	}
}

// differing is a file in the place of an expected one.
func differing(known catalogue, p pairing) Finding {
	var f Finding
	switch {
	case p.beginning:
		return truncated.meaningOf(p.want.Path).at(p.found.Path, media.Bytes(p.want.Size), stopsAt(p.found.Size, p.want.Size))
	case p.found.Size != p.want.Size:
		f = sizeDiffers.at(p.found.Path, media.Bytes(p.want.Size), media.Bytes(p.found.Size))
	default:
		f = contentDiffers.at(p.found.Path, p.want.SHA256.Named(), p.found.SHA256.Named()+p.difference)
	}
	if past, ok := known.pastOf(p.found); ok {
		d := past.diagnosis()
		d.kind = f.Kind
		return d.at(f.Path, f.Expected, f.Found+": "+past.words())
	}
	if what := known.saying(p.found); what != "" {
		f.Found += ": " + what
	}
	return f
}

// judgeMoved reports steps whose files are in a folder of another name.
func judgeMoved(m matched, report func(Finding)) {
	for _, s := range m.moved {
		report(movedFolder.meaningOf(s.Number, s.Device).at(below(s.folder, path.Base(s.Files[0].Name)), "/"+s.Folder, "/"+s.folder))
	}
}

// judgeOthers reports files that nobody asked for.
func judgeOthers(m matched, report func(Finding)) {
	for _, it := range m.others {
		report(it.diagnosis.at(it.Path, it.expected, it.found))
	}
}

// judgeWithdrawn reports files that a record on the card lists, so that they are
// expected, and whose release was withdrawn since. A plan holds none.
func judgeWithdrawn(m matched, report func(Finding)) {
	if !m.expected.FromRecord {
		return
	}
	for _, f := range m.card.files.all {
		all := m.known.of(f)
		stands := func(p pkg) bool { return p.of.Withdrawn == "" }
		if m.inPlace(f) && len(all) > 0 && !slices.ContainsFunc(all, stands) {
			report(withdrawn.meaningOf(all[0].of.Withdrawn).at(f.Path, "nothing", all[0].String()))
		}
	}
}

// judgeReplaced reports files that a record on the card lists, so that they are
// expected, and that were replaced since. A plan holds none.
func judgeReplaced(m matched, report func(Finding)) {
	if !m.expected.FromRecord {
		return
	}
	for _, p := range m.pairs {
		if past, ok := m.known.pastOf(p.found); ok && p.state() == same {
			report(replacedSince.meaningOf(past.Until.Format(time.DateOnly), past.Why).at(p.found.Path, "the file that its release has now", past.words()))
		}
	}
}

// judgeAbsent reports what is nowhere on the card as it should be.
func judgeAbsent(m matched, report func(Finding)) {
	lookAlikes := m.card.files.lookAlikes()
	for _, a := range m.absent {
		d, found, what := missingFile, noSuchFile, a.instead
		if f, ok := lookAlikes(a.Path); ok {
			what = "only some devices take the name of " + f.Path + " for it"
		}
		if what != "" {
			found += "; " + what
		} else if m.card.blind {
			d, found = unseenFile, "not seen"
		}
		report(d.at(a.Path, media.Bytes(a.Size), found))
	}
}

// judgeNames reports names that were made to mislead whoever reads them.
func judgeNames(m matched, report func(Finding)) {
	for _, f := range m.card.files.all {
		base := path.Base(f.Path)
		if shown := visible.Visible(base); shown != base {
			report(hostileName.at(f.Path, "characters that show as themselves", shown))
		}
	}
}
