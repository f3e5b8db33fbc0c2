package known

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// maxWorks is how many of a device's last steps and checks are gone through.
const maxWorks = 500

var openOf = map[ledger.Kind]OpenKind{
	ledger.StepFailed: Failed, ledger.StepPutOff: PutOff, ledger.CheckFailed: CheckFailed, ledger.CheckNotDone: CheckNotDone,
}

// open is what is open about a device.
func (s *story) open(d *Device, ask Ask) []Open {
	list := []Open{}
	if d.Gone {
		return list
	}
	if d.Other != "" {
		list = append(list, Open{Kind: Disputed, At: d.Since, By: d.By, What: string(d.Other), Event: d.Event})
	}
	for _, v := range []version.V{d.Version, d.Other} {
		if w := ask.Withdrawn.Of(d.Model, d.Variant, v); w != nil {
			list = append(list, Open{Kind: OnWithdrawn, At: w.At, By: w.By, What: string(v), Why: w.Why, Event: w.Event})
		}
	}
	list = append(list, s.left(d, ask.Seen)...)
	slices.SortStableFunc(list, func(a, b Open) int {
		return cmp.Or(cmp.Compare(slices.Index(OpenKinds, a.Kind), slices.Index(OpenKinds, b.Kind)), a.At.Compare(b.At))
	})
	return list
}

// left is what steps and checks left open.
func (s *story) left(d *Device, seen *Seen) []Open {
	works := s.works
	slices.SortFunc(works, func(a, b *Fact) int { return bytes.Compare(ordOfFact(a), ordOfFact(b)) })
	works = works[max(0, len(works)-maxWorks):]
	var list []Open
	for _, i := range seen.inOrder(len(works), func(i int) place { return placeOfFact(works[i]) }) {
		f := works[i]
		if _, is := openOf[f.Entry.Kind]; is && !s.ended(f, d, seen) && !s.repeated(f, seen) {
			list = append(list, openFrom(f))
		}
	}
	return list
}

// repeated reports whether the same was left open again later.
func (s *story) repeated(f *Fact, seen *Seen) bool {
	key := whatIsLeft(&f.Entry)
	return slices.ContainsFunc(s.works, func(o *Fact) bool {
		_, is := openOf[o.Entry.Kind]
		return is && whatIsLeft(&o.Entry) == key && seen.compare(placeOfFact(o), placeOfFact(f)) == 1
	})
}

func whatIsLeft(e *ledger.Entry) string {
	if e.Step != nil {
		return string(e.Kind) + "\n" + ledger.VersionKey(e.Step.Planned)
	}
	return "check\n" + e.Check.Check
}

func openFrom(f *Fact) Open {
	e := &f.Entry
	o := Open{Kind: openOf[e.Kind], At: e.At, By: f.Technician(), Event: f.Event.ID, Entry: *e}
	if e.Step != nil {
		o.Planned, o.Why = e.Step.Planned, cmp.Or(e.Step.Note, e.Step.Reason)
		o.What = string(e.Step.Planned)
		return o
	}
	o.What, o.Why = e.Check.Check, e.Check.Note
	if e.Check.Value != "" {
		o.Why = e.Check.Value
	}
	if e.Check.Note == ledger.SettingsLost {
		o.Kind = SettingsLost
	}
	return o
}

// ended reports whether what an event left open is so no longer.
func (s *story) ended(f *Fact, d *Device, seen *Seen) bool {
	if another(deviceOf(&f.Entry), d.Device) {
		return true
	}
	at := placeOfFact(f)
	later := func(p place) bool { return seen.compare(p, at) == 1 }
	if slices.ContainsFunc(s.readings, func(r ledger.Reading) bool { return r.Gone && later(placeOf(&r)) }) {
		return true // it was taken off; what is there now is another box
	}
	if f.Entry.Step == nil {
		return slices.ContainsFunc(s.works, func(o *Fact) bool {
			return o.Entry.Kind == ledger.CheckPassed && o.Entry.Check.Check == f.Entry.Check.Check && later(placeOfFact(o))
		})
	}
	planned := ledger.VersionKey(f.Entry.Step.Planned)
	for _, o := range s.works {
		if o.Entry.Kind == ledger.StepDone && later(placeOfFact(o)) && (planned == "" || planned == ledger.VersionKey(o.Entry.Step.After)) {
			return true
		}
	}
	return planned != "" && slices.ContainsFunc(s.readings, func(r ledger.Reading) bool {
		return ledger.VersionKey(r.Version) == planned && later(placeOf(&r))
	})
}

func placeOfFact(f *Fact) place {
	s := &f.Event.Statement
	return place{f.Entry.At, ledger.ChainKey(s.Writer, s.Chain), s.Seq, s.DatedByHand(f.Entry.At)}
}

func ordOfFact(f *Fact) []byte { return ledger.Ord(f.Entry.At, &f.Event.Statement, f.Event.ID) }

// Tell says in one line what is open about a device, without its name.
func (o *Open) Tell(day func(o *Open) string) string {
	on := ""
	if !o.At.IsZero() {
		on = " on " + day(o)
	}
	why := ""
	if o.Why != "" {
		why = ": " + o.Why
	}
	switch o.Kind {
	case Failed:
		return fmt.Sprintf("step%s failed%s%s", toVersion(o.Planned), on, why)
	case PutOff:
		return fmt.Sprintf("step%s put off%s%s", toVersion(o.Planned), on, why)
	case CheckFailed:
		return fmt.Sprintf("%s failed%s%s", o.What, on, why)
	case CheckNotDone:
		return fmt.Sprintf("%s not done%s%s", o.What, on, why)
	case SettingsLost:
		return fmt.Sprintf("settings lost%s and not entered again", on)
	case NotNoted, FileOlder:
		return fmt.Sprintf("%s: %s", map[OpenKind]string{NotNoted: "changed by hand and not noted", FileOlder: "its file is behind the ledger"}[o.Kind], o.What)
	case Disputed:
		if o.Why != "" {
			return "disputed: " + o.Why
		}
		return fmt.Sprintf("disputed: another says %s", o.What)
	case OnWithdrawn:
		return fmt.Sprintf("runs %s, which was withdrawn%s", o.What, why)
	}
	return string(o.Kind) + why
}

func toVersion(v version.V) string {
	if ledger.VersionKey(v) == "" {
		return ""
	}
	return " to " + string(v)
}
