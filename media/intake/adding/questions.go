package adding

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/version"
	"cardwright/media/intake"
)

// Question is one thing that has to be known of a download and that nobody has said.
type Question struct {
	Key    string
	Field  string // the key of the catalogue whose value is asked for: "Release.over"; "": Ask says what is
	Ask    string
	Told   string // shown to a person first; "": nothing
	Usual  string // what an empty answer means
	Needed bool   // an empty answer is none
	YesNo  bool   // "yes" or "no"
}

// Again says that an answer isn't accepted: the question is asked again.
type Again struct{ text string }

func (e *Again) Error() string { return e.text }

func again(format string, args ...any) error { return &Again{fmt.Sprintf(format, args...)} }

// What the questions are of.
const (
	ofModel    = "model"
	ofVersion  = "version"
	ofOpening  = "opens"  // whether the device opens archives itself
	ofMember   = "inside" // which file of an archive it is
	ofDoubt    = "despite"
	ofReleased = "released"
	ofOver     = "over"
	ofNeeds    = "needs"
	ofMinutes  = "minutes"
	ofTouch    = "touch"
)

// Answers that mean nothing in particular.
const (
	wholeArchive = "all"
	noMore       = "no more"
	anyOfThem    = "any"
)

// Next is the question to ask now; false where nothing is open. Who can't be asked
// leaves them open: then what is refused stays refused, and what is only good to know
// isn't written down.
func (d *Download) Next() (Question, bool) {
	for _, q := range d.questions() {
		if !d.passed[q.Key] {
			return q, true
		}
	}
	return Question{}, false
}

func (d *Download) questions() []Question {
	switch r := d.refused; {
	case r == nil && d.found.Known == nil:
		return d.ofNewFile()
	case r == nil:
		return nil
	case r.Unknown:
		model, v := guess(d.shop, filepath.Base(d.Said.Path))
		return []Question{
			{
				Key: ofModel, Field: "Device.model", Usual: model, Needed: true,
				Told: d.Said.Path + " is not in the catalogue. Models there: " + strings.Join(d.shop.ModelIDs(), ", "),
			},
			{Key: ofVersion, Field: "Release.version", Usual: v, Needed: true},
		}
	case r.Archive != nil:
		return d.ofArchive(r)
	case r.Doubt && !d.Said.Despite:
		return []Question{{
			Key: ofDoubt, YesNo: true, Usual: "no", Ask: "take it all the same?",
			Told: fmt.Sprintf("%s looks like %s: %s", filepath.Base(d.Said.Path), r.What, r.Found),
		}}
	}
	return nil
}

// ofArchive asks what becomes of an archive of which nobody has said yet that its
// device opens archives.
func (d *Download) ofArchive(r *intake.Refused) []Question {
	all := []Question{{
		Key: ofOpening, YesNo: true, Usual: "no",
		Ask:  "does " + d.Said.Model + " open such archives itself? (the maker's instructions say so)",
		Told: fmt.Sprintf("%s is %s", filepath.Base(d.Said.Path), r.Found),
	}}
	if len(r.Archive) > 0 {
		all = append(all, Question{
			Key: ofMember, Usual: r.Archive[0],
			Ask: "which file inside is the package? its name, or " + wholeArchive + " where the device wants what is inside",
		})
	}
	return all
}

// ofNewFile asks what the maker says of a release that is new, where nobody has begun
// to say it, and which of several files a person touches.
func (d *Download) ofNewFile() (all []Question) {
	release := d.found.Model.Release(d.found.Version, d.found.Variant)
	if release == nil && d.release {
		all = append(all,
			Question{Key: ofReleased, Field: "Release.released", Needed: true},
			Question{Key: ofOver, Field: "Release.over"},
			Question{Key: ofNeeds, Usual: noMore, Ask: manifest.Help("Release.needs") + `, such as "` + d.shop.Models[len(d.shop.Models)-1].ID + ` >= 1.8"`},
			Question{Key: ofMinutes, Field: "Release.minutes"})
	}
	names := d.touchable(release)
	if d.release && len(names) > 1 && len(d.Said.Touch) == 0 && (release == nil || len(release.Touch) == 0) {
		all = append(all, Question{Key: ofTouch, Usual: anyOfThem, Ask: "which of " + strings.Join(names, ", ") + " does a person touch on the device?"})
	}
	return slices.DeleteFunc(all, func(q Question) bool { return d.said(q.Key) })
}

// said reports whether what a question asks for was said beforehand.
func (d *Download) said(key string) bool {
	switch key {
	case ofOver:
		return d.Said.Over != ""
	case ofMinutes:
		return d.Said.Minutes != ""
	}
	return false
}

// touchable are the names that a person may see of a release on the device.
func (d *Download) touchable(release *manifest.Release) []string {
	names := d.found.OnCard()
	if release != nil {
		for _, f := range release.Files {
			if f != d.found.Instead {
				names = append(names, f.OnCard()...)
			}
		}
	}
	return names
}

// enough refuses a download that is new to the catalogue where too little was said of
// it.
func (d *Download) enough() error {
	if d.found.Known != nil {
		return nil
	}
	release := d.found.Model.Release(d.found.Version, d.found.Variant)
	if release == nil && d.Said.Released == "" {
		return badSaid("%s %s is new to the catalogue: say with %s on which day it was released", d.found.Model.ID, d.found.Version, d.in.Words.For(SayReleased))
	}
	names := d.touchable(release)
	for _, touch := range d.Said.Touch {
		if !slices.Contains(names, touch) {
			return badSaid("%s %q: no such file in the release, which has %s%s", d.in.Words.For(SayTouch), touch, strings.Join(names, ", "), tryIt(manifest.Nearest(touch, names)))
		}
	}
	return nil
}

// Answer takes the answer to a question. *Again: it isn't accepted.
func (d *Download) Answer(ctx context.Context, q Question, said string) error {
	if said == "" {
		said = q.Usual
	}
	if said == "" && q.Needed {
		return again("found nothing, expected an answer")
	}
	if said != "" && q.Field != "" {
		if m := manifest.Problem(q.Field, said); m != nil {
			return again("%s: found %s, expected %s%s", m.What, m.Found, m.Expected, tryIt(m.Advice))
		}
	}
	if err := d.take(ctx, q, said); err != nil {
		return err
	}
	d.passed[q.Key] = q.Key != ofNeeds || said == noMore
	return nil
}

func (d *Download) take(ctx context.Context, q Question, said string) error {
	switch s := &d.Said; q.Key {
	case ofModel:
		s.Model = said
	case ofVersion:
		s.Version, _ = version.Parse(said) // Answer has checked it
		return d.examine(ctx, s.Request)
	case ofOpening:
		if s.Opens = said == "yes"; s.Opens {
			return d.examine(ctx, s.Request)
		}
	case ofMember:
		return d.inside(ctx, said)
	case ofDoubt:
		if s.Despite = said == "yes"; s.Despite {
			return d.examine(ctx, s.Request)
		}
	case ofReleased:
		s.Released = said
	case ofOver:
		s.Over = said
	case ofNeeds:
		return d.need(said)
	case ofMinutes:
		s.Minutes = said
	case ofTouch:
		names := d.touchable(d.found.Model.Release(d.found.Version, d.found.Variant))
		if said != anyOfThem && !slices.Contains(names, said) {
			return again("found %q, expected one of them%s", said, tryIt(manifest.Nearest(said, names)))
		}
		if s.Touch = nil; said != anyOfThem {
			s.Touch = []string{said}
		}
	}
	return nil
}

// inside takes one file of an archive, or all of them.
func (d *Download) inside(ctx context.Context, said string) error {
	with, before := d.Said.Request, d.refused
	with.Member, with.Unpack = said, said == wholeArchive
	if with.Unpack {
		with.Member = ""
	}
	if err := d.examine(ctx, with); err != nil {
		return err
	}
	if wrong := d.refused; wrong != nil && !wrong.Doubt {
		d.refused = before
		return again("%s: found %s, expected %s", wrong.What, wrong.Found, wrong.Expected)
	}
	d.Said.Request = with
	return nil
}

func (d *Download) need(said string) error {
	if said == noMore {
		return nil
	}
	said = strings.Trim(said, `"`)
	need, err := parseNeed(said)
	if err != nil {
		return again("%v", err)
	}
	if ids := d.shop.ModelIDs(); !slices.Contains(ids, need.Model) {
		return again("no model %q in the catalogue%s", need.Model, tryIt(manifest.Nearest(need.Model, ids)))
	}
	d.Said.Needs = append(d.Said.Needs, said)
	return nil
}

var (
	notWord    = pattern.Of(`[^a-z0-9]+`)
	versionish = pattern.Of(`[0-9]+(\.[0-9]+)+([-~+][0-9a-z]+)?`)
)

// guess finds in a download's name the model and the version that it may be
// for, to be offered to a person and never taken without their word.
func guess(shop *manifest.Shop, name string) (model, v string) {
	name = strings.ToLower(name)
	v = versionish.FindString(strings.TrimSuffix(name, filepath.Ext(name)))
	plain, longest := notWord.ReplaceAllString(name, ""), 0
	for _, m := range shop.Models {
		_, tail, ok := strings.Cut(m.ID, "-")
		tail = strings.ReplaceAll(tail, "-", "")
		if ok && len(tail) > longest && strings.Contains(plain, tail) {
			model, longest = m.ID, len(tail)
		}
	}
	return model, v
}

func tryIt(hint string) string {
	if hint == "" {
		return ""
	}
	return "; try " + hint
}
