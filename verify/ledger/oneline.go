package ledger

import (
	"fmt"
	"strings"
)

// Tell says an entry in one line, without its date and vessel. The
// words in it are as they were written: whoever shows them escapes them.
func (e *Entry) Tell() string {
	switch {
	case e.TakenOn != nil:
		return e.TakenOn.tell()
	case e.Card != nil:
		return e.tellCard()
	case e.VisitBegun != nil:
		v := e.VisitBegun
		return join("visit begun", v.Purpose, word("agreed:", v.ApprovedBy), word("told:", v.Told), v.Note)
	case e.Step != nil:
		return e.tellStep()
	case e.Settings != nil:
		return join("settings saved", e.Settings.Device, e.Settings.Where, e.Settings.Note)
	case e.Check != nil:
		return join(string(e.Kind), e.Check.Device.ID, e.Check.Check, e.Check.Value, e.Check.Note)
	case e.Correction != nil:
		return e.tellCorrection()
	case e.ByHand != nil:
		return e.ByHand.tell()
	case e.DeviceChange != nil:
		return e.tellDeviceChange()
	case e.VesselChange != nil:
		return e.tellVesselChange()
	case e.CardFate != nil:
		return e.tellCardFate()
	case e.Withdrawal != nil:
		w := e.Withdrawal
		return join("release withdrawn", w.Model+" "+string(w.Version), w.Variant, w.Why)
	}
	return string(e.Kind)
}

func (t *TakenOn) tell() string {
	told := fmt.Sprintf("taken on: %s, %s", t.Name, count(len(t.Devices), "device"))
	if len(t.Removed) > 0 {
		told += "; no longer aboard: " + strings.Join(t.Removed, ", ")
	}
	return told
}

// join puts what there is after a colon, separated by commas.
func join(what string, more ...string) string {
	var list []string
	for _, m := range more {
		if m != "" {
			list = append(list, m)
		}
	}
	if len(list) == 0 {
		return what
	}
	return what + ": " + strings.Join(list, ", ")
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (e *Entry) tellCard() string {
	c := e.Card
	var releases []string
	for _, r := range c.Releases {
		releases = append(releases, fmt.Sprintf("%s %s %s", r.Device, r.Model, r.Version))
	}
	what := string(e.Kind)
	if c.WayBack {
		what += ", WAY BACK"
	}
	if c.Foreign {
		what += " (made elsewhere)"
	}
	short := c.Digest
	if len(short) > 12 {
		short = short[:12]
	}
	return join(what, c.Verdict, short, strings.Join(releases, ", "))
}

func (e *Entry) tellStep() string {
	s := e.Step
	var parts []string
	parts = append(parts, s.Device.ID)
	switch {
	case s.After != "" && s.Before != "":
		parts = append(parts, fmt.Sprintf("%s to %s", s.Before, s.After))
	case s.After != "":
		parts = append(parts, fmt.Sprintf("to %s (not read before)", s.After))
	case s.Before != "":
		parts = append(parts, "at "+string(s.Before))
	}
	if s.Planned != "" && s.Planned != s.After {
		parts = append(parts, "planned "+string(s.Planned))
	}
	if s.Minutes > 0 {
		parts = append(parts, fmt.Sprintf("%d min", s.Minutes))
	}
	return join(string(e.Kind), append(parts, s.How, s.Reason, s.Note)...)
}

func (e *Entry) tellCorrection() string {
	k := e.Correction
	what := "correction of " + k.Of[:min(12, len(k.Of))]
	if k.Instead == nil {
		return join(what, "taken back", k.Why)
	}
	return join(what, k.Why) + "; instead, " + k.Instead.Tell()
}
