package ledger

import (
	"time"

	"cardwright/manifest/version"
)

// Reading is what one event says about the version of one device: what it
// showed after a step, what was read off it, or that it is gone.
type Reading struct {
	Event   ID        `json:"event"`
	Ord     []byte    `json:"-"`
	Writer  string    `json:"writer"`
	At      time.Time `json:"at"`
	Vessel  string    `json:"vessel"`
	Device  Device    `json:"device"`
	Version version.V `json:"version"` // "" when gone
	Before  version.V `json:"before"`  // what it showed before the step; "" where nobody read it
	// Installed says that a step brought the version; else it was only read.
	Installed bool `json:"installed"`
	Gone      bool `json:"gone"` // no longer aboard
	// Lost says that a step failed and nobody read what it left: the version is
	// unknown, whatever was known before.
	Lost bool `json:"lost,omitempty"`

	Chain  ChainID `json:"-"` // where it is
	Seq    int64   `json:"-"`
	ByHand bool    `json:"-"` // a person gave At, see DatedByHand
}

// Readings gives what an entry says about versions, without Event and Ord.
func Readings(e *Entry) []Reading {
	switch {
	case e.TakenOn != nil:
		return fittedReadings(e, e.TakenOn.Devices, e.TakenOn.Removed)
	case e.ByHand != nil:
		return fittedReadings(e, e.ByHand.Devices, e.ByHand.Removed)
	case e.DeviceChange != nil:
		return changeReadings(e)
	case e.Step != nil:
		return stepReadings(e)
	case e.Check != nil && e.Kind == CheckPassed && e.Check.Check == VersionShown:
		if v, err := version.Parse(e.Check.Value); err == nil {
			return []Reading{{At: e.At, Vessel: e.Vessel, Device: e.Check.Device, Version: v}}
		}
	}
	return nil
}

// stepReadings takes what was read after the step, or else what was read
// before it, because then nothing was installed that anybody saw. After a step
// that failed nobody knows what is there until it is read.
func stepReadings(e *Entry) []Reading {
	s := e.Step
	r := Reading{At: e.At, Vessel: e.Vessel, Device: s.Device, Version: s.After, Before: s.Before, Installed: e.Kind == StepDone}
	if VersionKey(r.Before) == "" {
		r.Before = ""
	}
	if VersionKey(r.Version) != "" {
		return []Reading{r}
	}
	var list []Reading
	if r.Version = s.Before; VersionKey(r.Version) != "" {
		list = append(list, r)
	}
	if e.Kind == StepFailed {
		list = append(list, Reading{At: e.At, Vessel: e.Vessel, Device: s.Device, Version: version.Unknown, Lost: true})
	}
	return list
}

// Place says where in its chain the statement that readings come from stands.
func Place(readings []Reading, e *Event, at time.Time) {
	s := &e.Statement
	for i := range readings {
		r := &readings[i]
		r.Event, r.Writer = e.ID, s.Writer
		r.Chain, r.Seq, r.ByHand = ChainKey(s.Writer, s.Chain), s.Seq, s.DatedByHand(at)
		r.Ord = append(Ord(at, s, e.ID), byte(i)) // what one event says keeps its order
	}
}

func known(v version.V) version.V {
	if v == "" {
		return version.Unknown
	}
	return v
}

// Carried is one release that a card carried.
type Carried struct {
	Vessel  string // "" where nobody knows
	Card    string // digest
	At      time.Time
	Release CardRelease
	Good    bool // the card was read back and called good
}

// CarriedBy gives the releases that an entry says a card carried.
func CarriedBy(e *Entry) []Carried {
	if e.Card == nil {
		return nil
	}
	var list []Carried
	for _, r := range e.Card.Releases {
		list = append(list, Carried{
			Vessel: e.Vessel, Card: e.Card.Digest, At: e.At, Release: r, Good: e.Card.Verdict == "good",
		})
	}
	return list
}

// OnCard is a release that was on a card which was read back and called
// good.
type OnCard struct {
	Device  string    `json:"device"`
	Model   string    `json:"model"`
	Version version.V `json:"version"`
	Card    string    `json:"card"` // digest
}
