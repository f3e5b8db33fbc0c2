package verify

import (
	"context"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/samename"
	"cardwright/manifest/version"
	"cardwright/media"
)

// identified is a file or folder that nobody asked for, and what it turned out
// to be.
type identified struct {
	*file
	diagnosis diagnosis
	expected  string
	found     string
}

// identifier finds out what files are that nobody asked for.
type identifier struct {
	ctx      context.Context
	known    catalogue
	visit    *Aboard // nil: no vessel was named
	blind    bool
	absent   []absence // what they may be instead of, and what was found of it
	unzipped uint64    // bytes unpacked from archives so far
}

// identifyOthers reports what is on the card besides what is expected: each file
// once, by what it turned out to be; and of absent files what was found instead.
func identifyOthers(ctx context.Context, m matched) (others []identified, absent []absence) {
	nothingWanted := m.expected.FromRecord && len(m.wanted) == 0
	if nothingWanted && len(m.known.byDigest) == 0 { // nothing to compare with
		return nil, m.absent
	}
	filled := m.card.files.filledFolders()
	i := identifier{ctx: ctx, known: m.known, visit: m.expected.visit(), blind: m.card.blind, absent: slices.Clone(m.absent)}
	for _, f := range m.card.files.all {
		if !f.dir && m.inPlace(f) || m.isMoved(f) || f.dir && filled[key(f.Path)] || m.isOwn(f) {
			continue
		}
		it := i.identify(f)
		if m.expected.Beside && !amongOurs(m, f) {
			it.diagnosis.severity, it.expected = Note, "other files, as allowed"
		}
		if nothingWanted && it.diagnosis.severity == Stop { // told, not judged
			it.diagnosis.severity = Warn
		}
		others = append(others, it)
	}
	return others, i.absent
}

// amongOurs reports a file that isn't next to the card's own but among them: in
// the record's folder, or where a device looks for its package and might take
// this for one.
func amongOurs(m matched, f *file) bool {
	if samename.Within(f.Path, media.RecordFolder) {
		return true
	}
	looked := func(w media.RecordFile) bool { return samename.Same(parentOf(w.Path), parentOf(f.Path)) }
	return !f.dir && m.known.passesForPackage(f) && slices.ContainsFunc(m.wanted, looked)
}

// identify reports what a file is, by the first that fits. What a desktop system
// leaves is looked into like all else: somebody may have put a package, or a
// program, where it would pass for that.
func (i *identifier) identify(f *file) identified {
	switch {
	case f.dir && isClutter(f.Path):
		return *i.clutter(f)
	case f.dir && i.blind:
		return identified{f, extraFolder.weighing(Warn), "nothing", "a folder that is empty as far as it could be read"}
	case f.dir:
		return identified{f, extraFolder, "nothing", "an empty folder"}
	}
	if all := i.known.of(f); all != nil {
		return i.release(f, all)
	}
	for _, recognise := range []func(*file) *identified{i.past, i.beginning, i.altered, asProgram, i.clutter, i.archive, asPartial, asHidden} {
		if it := recognise(f); it != nil {
			return *it
		}
	}
	return identified{f, extraFile, "nothing", media.Bytes(f.Size)}
}

// instead notes what was found of an expected file that isn't in its place.
func (i *identifier) instead(sum digest.SHA256, what string) {
	for n := range i.absent {
		if i.absent[n].SHA256 == sum {
			i.absent[n].instead = what
		}
	}
}

// release says of a package of the catalogue why it isn't the one that is
// wanted here.
func (i *identifier) release(f *file, all []pkg) identified {
	p := all[0]
	it := identified{f, notNeeded, "nothing", p.String()}
	switch {
	case p.of.Withdrawn != "":
		it.diagnosis = withdrawn.meaningOf(p.of.Withdrawn)
	case i.visit == nil:
		it.diagnosis, it.expected = knownRelease, ""
	default:
		i.againstVessel(&it, p)
	}
	return it
}

// againstVessel compares a known release with what the vessel's devices of its
// model run and get.
func (i *identifier) againstVessel(it *identified, p pkg) {
	if card := i.stepsCard(it.file); card != 0 && card != i.visit.Card {
		it.diagnosis, it.expected = onAnotherCard, fmt.Sprintf("it on card %d of the plan", card)
		return
	}
	goal, aboard, variant := version.V(""), false, false
	for _, d := range i.visit.Vessel.Devices {
		if d.Model != p.model.ID {
			continue
		}
		aboard = true
		variant = variant || d.Variant == p.of.Variant
		if to := i.visit.endOf(d); goal == "" || version.Compare(to, goal) > 0 {
			goal = to
		}
	}
	switch {
	case !aboard:
		it.diagnosis = notAboard.meaningOf(i.visit.Vessel.Name, p.model.Name)
	case !variant:
		it.diagnosis = otherVariant.meaningOf(p.of.Variant)
	case goal == "" || goal == version.Unknown:
	case version.Compare(p.of.Version, goal) < 0:
		it.diagnosis, it.expected = olderRelease, string(goal)
	case version.Compare(p.of.Version, goal) > 0:
		it.diagnosis, it.expected = newerRelease, string(goal)
	default:
		i.rightElsewhere(it, p)
	}
}

// stepsCard is the card on which a step needs a file: this one if any of its
// steps does; 0: none.
func (i *identifier) stepsCard(f *file) (card int) {
	for _, s := range i.visit.Plan.Steps {
		if !slices.ContainsFunc(s.Files, func(w digest.File) bool { return f.is(w.SHA256) }) {
			continue
		}
		if s.Card == i.visit.Card {
			return s.Card
		}
		card = s.Card
	}
	return card
}

// rightElsewhere reports a wanted file that is at another path, where its
// device doesn't look for it.
func (i *identifier) rightElsewhere(it *identified, p pkg) {
	n := slices.IndexFunc(i.absent, func(a absence) bool { return it.is(a.SHA256) })
	if n < 0 {
		i.asDownloaded(it, p)
		return
	}
	want := i.absent[n].Path
	it.expected, it.found = want, it.Path
	i.instead(it.SHA256, "its content is at "+it.Path)
	switch {
	case samename.ButCase(path.Base(want), path.Base(it.Path)):
		it.diagnosis = wrongFolder.adviceFor(parentOf(want))
	case bareName(it.Path) != strings.ToLower(path.Base(it.Path)):
		it.diagnosis = byABrowser.adviceFor(want)
	default:
		it.diagnosis = renamedFile.adviceFor(want)
	}
}

func (i *identifier) open(p pkg) func() (io.ReadCloser, error) {
	return func() (io.ReadCloser, error) { return i.known.packages.Open(p.source) }
}

// past reports a file that a release had, and that was replaced or taken out.
func (i *identifier) past(f *file) *identified {
	p, ok := i.known.pastOf(f)
	if !ok {
		return nil
	}
	it := identified{f, p.diagnosis(), "nothing", p.words()}
	if p.By != "" {
		it.expected = p.By.Named()
		i.instead(p.By, "what it was until "+p.Until.Format(time.DateOnly)+" is at "+f.Path)
	}
	return &it
}

// altered reports a file with a known package's name and size and other bytes.
func (i *identifier) altered(f *file) *identified {
	for _, p := range i.known.named(f) {
		if f.SHA256 == "" || f.Size != p.Size {
			continue
		}
		it := identified{f, alteredKnown.meaningOf(p.String()), p.SHA256.Named(), f.SHA256.Named()}
		i.instead(p.SHA256, "an altered copy of it is at "+f.Path)
		if at, ok := firstOtherByte(i.ctx, f, i.open(p), p.Size); ok {
			it.found += differsAt(at)
		}
		return &it
	}
	return nil
}

var unfinished = pattern.Of(`(?i)\.(part|partial|crdownload|download)$`)

func asPartial(f *file) *identified {
	if !unfinished.MatchString(f.Path) {
		return nil
	}
	return &identified{f, partial, "a finished download", media.Bytes(f.Size)}
}

func asHidden(f *file) *identified {
	if !f.hidden && !strings.HasPrefix(path.Base(f.Path), ".") {
		return nil
	}
	return &identified{f, hiddenFile, "nothing", "a hidden file of " + media.Bytes(f.Size)}
}
