package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/seatrial"
)

// Trial is a sea trial to be noted.
type Trial struct {
	Vessel    *manifest.Vessel
	Catalogue []*manifest.Model
	Trial     seatrial.Trial
	Logs      []string // SHA-256 of the logs' bytes, 64 hex digits each
	Sensor    string   // id of the heading sensor; "": the only one aboard
	Now       time.Time
}

// The checks that a sea trial makes, as manifest.Checks has them.
const (
	swingCheck     = "compass swing"
	alignmentCheck = "heading against course"
	rudderCheck    = "rudder stops and centre"
)

// VisitID names the visit of these logs, so that the same ones are noted once.
func (t *Trial) VisitID() string {
	sorted := slices.Clone(t.Logs)
	slices.Sort(sorted)
	sum := sha256.Sum256([]byte("sea trial " + strings.Join(sorted, " ")))
	return hex.EncodeToString(sum[:16])
}

// Device is the heading sensor on trial. The error says which there are.
func (t *Trial) Device() (ledger.Device, error) {
	j := Job{Vessel: t.Vessel, Catalogue: t.Catalogue}
	if t.Sensor != "" {
		d, ok := j.device(t.Sensor)
		if !ok {
			return d, fmt.Errorf("no device %q aboard %s; there are %s", t.Sensor, t.Vessel.ID, j.aboard())
		}
		return d, nil
	}
	sensors := t.ofKind("heading sensor")
	if len(sensors) != 1 {
		return ledger.Device{}, fmt.Errorf("%d heading sensors aboard %s: name the one on trial; there are %s", len(sensors), t.Vessel.ID, j.aboard())
	}
	d, _ := j.device(sensors[0])
	return d, nil
}

func (t *Trial) ofKind(kind manifest.Kind) (ids []string) {
	j := Job{Catalogue: t.Catalogue}
	for _, d := range t.Vessel.Devices {
		if m := j.model(d.Model); m != nil && m.Kind == kind {
			ids = append(ids, d.ID)
		}
	}
	return ids
}

// At is when the trial was: the log's day, or now where the log has none that
// can be.
func (t *Trial) At() time.Time {
	at := t.Trial.Date
	if at.IsZero() || at.Year() < ledger.FirstYear || at.After(t.Now) {
		at = t.Now
	}
	return at.UTC().Truncate(time.Second)
}

// Earlier is the last trial before this one, of the same sensor, as it is compared with;
// nil where there is none. Of a log that is noted already it is the one before that.
func (t *Trial) Earlier(all []audit.Swing) *seatrial.Earlier {
	device := ""
	if d, err := t.Device(); err == nil {
		device = d.ID
	}
	last, anew := (*audit.Swing)(nil), time.Time{}
	for i, s := range all {
		switch {
		case s.Device != device || s.At.After(t.At()) || s.Visit == t.VisitID():
		case s.Trial == nil:
			anew = s.At
		case len(s.Trial.Coefficients) > 0 || len(s.Trial.RMS) > 0 || len(s.Trial.Helm) > 0:
			last = &all[i]
		}
	}
	if last == nil {
		return nil
	}
	e := earlierOf(*last)
	if anew.After(last.At) {
		e.Unalike = "a swing was noted by hand on " + day(anew) + ", and it probably set up the compass anew"
	}
	return &e
}

func day(t time.Time) string { return t.Local().Format(time.DateOnly) }

// earlierOf is a trial of the ledger as a new one is compared with it.
func earlierOf(s audit.Swing) seatrial.Earlier {
	t := s.Trial
	e := seatrial.Earlier{From: "the ledger's trial of " + day(s.At), At: s.At, Method: seatrial.Method(t.Method), Sensor: t.Sensor, Period: t.Period}
	copy(e.Coef[:], t.Coefficients)
	copy(e.SE[:], t.Errors)
	if len(t.Place) == 2 {
		e.Place = &[2]float64{t.Place[0], t.Place[1]}
	}
	estimate := func(values []float64) *seatrial.Estimate {
		if len(values) != 2 {
			return nil
		}
		return &seatrial.Estimate{Value: values[0], U: values[1], Known: values[1] > 0}
	}
	e.RMS, e.Helm = estimate(t.RMS), estimate(t.Helm)
	return e
}

// Entries makes the ledger's entries of a trial: a visit with its checks.
func (t *Trial) Entries() ([]ledger.Entry, error) {
	device, err := t.Device()
	if err != nil {
		return nil, err
	}
	entry := func(kind ledger.Kind) ledger.Entry {
		return ledger.Entry{At: t.At(), Kind: kind, Vessel: t.Vessel.ID, Berth: t.Vessel.Berth, Visit: t.VisitID()}
	}
	begun := entry(ledger.VisitBegun)
	begun.VisitBegun = &ledger.Visit{Purpose: "sea trial"}
	all := []ledger.Entry{begun}
	add := func(check string, of ledger.Device, c seatrial.Check, kept *ledger.Trial, value string) {
		e := entry(verdictKinds[c.Verdict])
		e.Check = &ledger.Check{Check: check, Device: of, Value: cut(value, ledger.MaxLine), Note: cut(t.note(c), ledger.MaxNote), Trial: kept}
		all = append(all, e)
	}
	for _, c := range t.Trial.Checks {
		switch c.Kind {
		case seatrial.OfDeviation:
			add(swingCheck, device, c, t.kept(), t.coefficients())
		case seatrial.OfAlignment:
			add(alignmentCheck, device, c, nil, valueOf(c))
		case seatrial.OfHelm:
			if pilots := t.ofKind("autopilot computer"); c.Verdict != "" && len(pilots) == 1 {
				d, _ := (&Job{Vessel: t.Vessel, Catalogue: t.Catalogue}).device(pilots[0])
				add(rudderCheck, d, c, nil, valueOf(c))
			}
		default:
		}
	}
	return all, nil
}

var verdictKinds = map[seatrial.Verdict]ledger.Kind{
	seatrial.Within: ledger.CheckPassed, seatrial.Outside: ledger.CheckFailed, seatrial.CantTell: ledger.CheckNotDone, "": ledger.CheckNotDone,
}

// cut keeps a text within what an event may hold.
func cut(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most-3], "") + "…"
}

func valueOf(c seatrial.Check) string {
	if c.Value == nil {
		return ""
	}
	return c.Value.String()
}

func (t *Trial) note(c seatrial.Check) string {
	note := string(c.Verdict) + ": " + c.Says
	for i, l := range t.Logs {
		if i == 0 {
			note += "; log SHA-256 "
		} else {
			note += ", "
		}
		note += l
	}
	return note
}

// coefficients writes A to E in one line.
func (t *Trial) coefficients() string {
	if len(t.Trial.Swings) == 0 {
		return ""
	}
	var parts []string
	fit := t.Trial.Swings[0].Fit
	for i, letter := range seatrial.Letters {
		parts = append(parts, fmt.Sprintf("%s %+.1f° ± %.1f°", letter, fit.Coefficients[i], fit.U[i]))
	}
	return strings.Join(parts, ", ")
}

// kept is what the ledger keeps of the values.
func (t *Trial) kept() *ledger.Trial {
	k := &ledger.Trial{Logs: t.Logs, Sensor: cut(t.Trial.Sensor(), ledger.MaxWord), Verdict: string(t.Trial.Verdict)}
	if p := t.Trial.Place; p != nil {
		k.Place = thousandths(p[:])
	}
	if len(t.Trial.Swings) > 0 {
		s := t.Trial.Swings[0]
		k.Method, k.Leeway = string(s.Method), ledger.Thousandths(s.Fit.Leeway)
		k.Coefficients, k.Doubts, k.Errors = thousandths(s.Fit.Coefficients[:]), thousandths(s.Fit.U[:]), thousandths(s.Fit.SE[:])
	}
	if h := t.Trial.Helm; h != nil {
		k.Helm = thousandths([]float64{h.Value, h.U})
	}
	if c := t.Trial.Keeping; c != nil {
		k.RMS, k.Period = thousandths([]float64{c.RMS.Value, c.RMS.U}), ledger.Thousandths(c.Period)
	}
	return k
}

func thousandths(values []float64) []float64 {
	all := make([]float64, len(values))
	for i, v := range values {
		all[i] = ledger.Thousandths(min(max(v, -9999), 9999))
	}
	return all
}
