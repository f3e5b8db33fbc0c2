package verify

import (
	"slices"

	"cardwright/manifest/samename"
	"cardwright/media"
)

// explainedByAnother are the kinds of findings about files that follow from the
// card being another's, where its own record lists the file as it is.
var explainedByAnother = []Kind{
	ExtraFile, NotAboard, NotNeeded, OlderRelease, NewerRelease, OtherVariant, OtherCard, WrongFolder, RenamedFile,
	StillZipped, ContentDiffers, SizeDiffers, Truncated,
}

// explain notes with findings which other one they follow from: on the card of
// another vessel, plan or number nothing is where it should be, and what stands
// there is what that card's own record lists.
func explain(m matched, list []Finding) {
	because := Kind("")
	if f, another := anothersRecord(m.record.is, m.expected); another {
		because = f.Kind
	}
	if m.expected.Nothing && because != OtherVessel {
		because = NothingNeeded
	}
	if because == "" && m.expected.visit() != nil && len(m.fits) > 0 {
		because = FitsVessel
	}
	if because == "" || !m.card.hasFiles() {
		return
	}
	for i, f := range list {
		if f.Path != media.RecordPath && follows(m, f) || f.Kind == OtherPlan && because == NothingNeeded {
			list[i].Because = because
		}
	}
}

func follows(m matched, f Finding) bool {
	switch {
	case f.Kind == MissingFile:
		return true
	case f.Kind == TwoPackages && f.Path != "":
		return !slices.ContainsFunc(m.card.files.all, func(at *file) bool {
			return !at.dir && samename.Within(at.Path, f.Path) && !isListed(m, at)
		})
	case slices.Contains(explainedByAnother, f.Kind):
		at := m.card.files.byPath[f.Path]
		return at != nil && (isListed(m, at) || isAnothers(m, at))
	}
	return false
}

// isAnothers reports whether a file is a package of the plan of another vessel that
// the card is for, by its files.
func isAnothers(m matched, f *file) bool {
	return m.expected.visit() != nil && len(m.fits) > 0 && len(m.known.of(f)) > 0
}

// isListed reports whether the card's own record lists a file as it is. One that
// was replaced since is reported whatever the record says.
func isListed(m matched, f *file) bool {
	if _, past := m.known.pastOf(f); past || m.record.is == nil {
		return false
	}
	return slices.ContainsFunc(m.record.is.Files, func(l media.RecordFile) bool { return l.Path == f.Path && f.is(l.SHA256) })
}
