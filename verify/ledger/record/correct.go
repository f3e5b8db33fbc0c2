package record

import (
	"slices"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Instead is what an event should have said. What is empty stays as it was.
type Instead struct {
	At                                                time.Time
	Result, Before, After, Value, Where, Note, Device string
	Minutes                                           int // AsItWas, or 0 to ledger.MaxMinutes
}

// AsItWas are the minutes of an Instead that leaves them as they were.
const AsItWas = -1

// A Correction replaces an event, or takes it back.
type Correction struct {
	Of       ledger.Event
	Last     *ledger.Event // the correction of it that counts so far; nil: none
	Why      string
	TakeBack bool
	Instead  Instead
	Now      time.Time
}

// Entry is the ledger's entry of a correction. The error is *Unfit where the
// event can't be corrected that way.
func (c *Correction) Entry() (ledger.Entry, error) {
	entry, at := c.Of.Statement.Entry, c.Now
	if c.Last != nil {
		at = After(at, c.Last.Statement.Entry.At)
		if instead := c.Last.Statement.Entry.Correction.Instead; instead != nil {
			entry = *instead
		}
	}
	if c.takenBack() && (c.TakeBack || !repeatable(&entry)) {
		return ledger.Entry{}, &Unfit{Why: TakenBack, Event: entry}
	}
	instead, err := c.instead(entry)
	return ledger.Entry{
		At: at, Kind: ledger.Correction, Vessel: entry.Vessel, Berth: entry.Berth, Visit: entry.Visit,
		Correction: &ledger.Correcting{Of: c.Of.ID.String(), Why: c.Why, Instead: instead},
	}, err
}

func (c *Correction) takenBack() bool {
	return c.Last != nil && c.Last.Statement.Entry.Correction.Instead == nil
}

// repeatable tells whether an event that was taken back may be said again by a
// correction. A change of a device or of a vessel changed her file, too: it is noted
// anew.
func repeatable(e *ledger.Entry) bool { return e.DeviceChange == nil && e.VesselChange == nil }

// After is now, or where the clock that dated the correction before ran ahead
// the moment after that: of two corrections the later one counts.
func After(now, before time.Time) time.Time {
	if now.After(before) {
		return now
	}
	return before.Add(time.Second)
}

// Why a correction can't stand.
type unfitness string

// The closed list of them.
const (
	TakenBack     unfitness = "it is taken back already"
	NothingSaid   unfitness = "nothing is said instead"
	BesideNothing unfitness = "taking it back allows no other change"
	NotOfEvent    unfitness = "the event has no such field"
	NoResult      unfitness = "no such result"
	AfterMissing  unfitness = "a step that failed may have left any version"
	DeviceMissing unfitness = "no such device, or no version of it"
	NotAVersion   unfitness = "not a version"
)

// Unfit says why a correction can't stand. Fields are named as in Instead in
// small letters: at, result, before, after, minutes, value, where, note, device.
type Unfit struct {
	Why   unfitness
	Field string       // that is wrong; "" where it is none of them
	Event ledger.Entry // as it stands
	Has   []string     // fields that the event has, of NotOfEvent
	Err   error        // of NotAVersion
}

func (e *Unfit) Error() string {
	text := string(e.Why)
	if e.Field != "" {
		text = e.Field + ": " + text
	}
	if e.Err != nil {
		text += ": " + e.Err.Error()
	}
	return text
}

func (e *Unfit) Unwrap() error { return e.Err }

// instead is the entry that replaces one; nil where it is taken back.
func (c *Correction) instead(e ledger.Entry) (*ledger.Entry, error) {
	said := c.Instead.said()
	switch {
	case c.TakeBack && len(said) > 0:
		return nil, &Unfit{Why: BesideNothing, Field: said[0], Event: e}
	case c.TakeBack:
		return nil, nil
	case len(said) == 0:
		return nil, &Unfit{Why: NothingSaid, Event: e}
	}
	has := fieldsOf(e)
	for _, field := range said {
		if !slices.Contains(has, field) {
			return nil, &Unfit{Why: NotOfEvent, Field: field, Event: e, Has: has}
		}
	}
	if err := c.Instead.set(&e); err != nil {
		return nil, err
	}
	return &e, e.Validate()
}

// said names the fields that say something.
func (o Instead) said() (list []string) {
	for _, f := range []struct {
		name string
		set  bool
	}{
		{"at", !o.At.IsZero()},
		{"result", o.Result != ""},
		{"before", o.Before != ""},
		{"after", o.After != ""},
		{"minutes", o.Minutes != AsItWas},
		{"value", o.Value != ""},
		{"where", o.Where != ""},
		{"note", o.Note != ""},
		{"device", o.Device != ""},
	} {
		if f.set {
			list = append(list, f.name)
		}
	}
	return list
}

// fieldsOf names what can be corrected of an event.
func fieldsOf(e ledger.Entry) []string {
	has := []string{"at"}
	switch {
	case e.Step != nil:
		has = append(has, "result", "before", "after", "minutes", "note")
	case e.Check != nil:
		has = append(has, "result", "value", "note")
	case e.Settings != nil:
		has = append(has, "where", "note")
	case e.TakenOn != nil:
		has = append(has, "device", "after")
	case e.Withdrawal != nil:
		has = append(has, "note")
	}
	return has
}

// set writes what was said into a copy of the event.
func (o Instead) set(e *ledger.Entry) error {
	if !o.At.IsZero() {
		e.At = o.At
	}
	if o.Result != "" {
		kinds := checkKinds
		if e.Step != nil {
			kinds = stepKinds
		}
		kind, ok := kinds[o.Result]
		if !ok {
			return &Unfit{Why: NoResult, Field: "result", Event: *e}
		}
		if e.Kind == ledger.StepDone && kind == ledger.StepFailed && o.After == "" {
			return &Unfit{Why: AfterMissing, Field: "after", Event: *e}
		}
		e.Kind = kind
	}
	switch {
	case e.Step != nil:
		return o.setStep(e)
	case e.Check != nil:
		return o.setCheck(e)
	case e.Settings != nil:
		settings := *e.Settings
		replace(&settings.Where, o.Where)
		replace(&settings.Note, o.Note)
		e.Settings = &settings
	case e.TakenOn != nil:
		return o.setTakenOn(e)
	case e.Withdrawal != nil:
		withdrawal := *e.Withdrawal
		replace(&withdrawal.Why, o.Note)
		e.Withdrawal = &withdrawal
	}
	return nil
}

func replace(field *string, with string) {
	if with != "" {
		*field = with
	}
}

func (o Instead) setCheck(e *ledger.Entry) error {
	check := *e.Check
	replace(&check.Value, o.Value)
	replace(&check.Note, o.Note)
	if e.Kind == ledger.CheckPassed && check.Check == ledger.VersionShown {
		v, err := version.Parse(check.Value)
		if err != nil {
			return &Unfit{Why: NotAVersion, Field: "value", Event: *e, Err: err}
		}
		check.Value = string(v)
	}
	e.Check = &check
	return nil
}

func (o Instead) setStep(e *ledger.Entry) error {
	step := *e.Step
	replace(&step.Note, o.Note)
	if o.Minutes != AsItWas {
		step.Minutes = o.Minutes
	}
	for _, v := range []struct {
		field, text string
		to          *version.V
	}{{"before", o.Before, &step.Before}, {"after", o.After, &step.After}} {
		if v.text == "" {
			continue
		}
		parsed, err := version.Parse(v.text)
		if err != nil {
			return &Unfit{Why: NotAVersion, Field: v.field, Event: *e, Err: err}
		}
		*v.to = parsed
	}
	if e.Kind == ledger.StepPutOff {
		step.After = ""
	}
	if e.Kind != ledger.StepDone || ledger.VersionKey(step.After) != ledger.VersionKey(e.Step.After) {
		step.Files, step.WayBack, step.Card = nil, "", "" // they were of what was said before
	}
	e.Step = &step
	return nil
}

func (o Instead) setTakenOn(e *ledger.Entry) error {
	taken := *e.TakenOn
	taken.Devices = slices.Clone(taken.Devices)
	e.TakenOn = &taken
	if o.Device == "" && o.After == "" {
		return nil
	}
	i := slices.IndexFunc(taken.Devices, func(f ledger.Fitted) bool { return f.Device.ID == o.Device })
	if i < 0 || o.After == "" {
		return &Unfit{Why: DeviceMissing, Field: "device", Event: *e}
	}
	v, err := version.Parse(o.After)
	if err != nil {
		return &Unfit{Why: NotAVersion, Field: "after", Event: *e, Err: err}
	}
	taken.Devices[i].Version = v
	return nil
}
