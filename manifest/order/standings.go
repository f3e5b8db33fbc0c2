package order

import (
	"errors"
	"runtime"
	"sync"

	"cardwright/manifest"
)

// State is how up to date a vessel is.
type State string

// The states of a vessel, a closed list. Of the last three, what isn't connected
// with what is in the way can have steps to take.
const (
	Due        State = "due"         // there are steps to take
	UpToDate   State = "up to date"  // nothing to do
	Blocked    State = "blocked"     // a conflict
	ToBeRead   State = "to be read"  // a version is unknown
	NotPlanned State = "not planned" // see Why
)

// Standing is one vessel of a fleet.
type Standing struct {
	Vessel  string `json:"vessel"`
	Name    string `json:"name"`
	Berth   string `json:"berth"`
	State   State  `json:"state"`
	Devices int    `json:"devices"` // that get something
	Steps   int    `json:"steps"`
	Minutes int    `json:"minutes"`  // with checks and settings
	AtLeast bool   `json:"at_least"` // some of it nobody wrote down
	Why     string `json:"why"`      // where it is neither due nor up to date
	Cards   []Card `json:"cards"`    // to be made for it; filled in by media/readiness
	Plan    Plan   `json:"-"`
}

// Fleet plans every vessel of the shop, in the order of the shop's list. What is
// asked is asked of the vessels that have such devices; a *BadAsk error says that
// none has.
func Fleet(shop *manifest.Shop, ask Ask) ([]Standing, error) {
	if err := ask.validateFleet(shop); err != nil {
		return nil, err
	}

	fleet := make([]Standing, len(shop.Vessels))
	next := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := range next {
				fleet[i] = standing(shop, shop.Vessels[i], ask)
			}
		})
	}
	for i := range fleet {
		next <- i
	}
	close(next)
	workers.Wait()
	return fleet, nil
}

func standing(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask) Standing {
	plan, err := WhatIf(shop, vessel, ask.of(vessel))
	s := Standing{Vessel: vessel.ID, Name: vessel.Name, Berth: vessel.Berth, Plan: plan, Steps: len(plan.Steps)}
	devices := map[string]bool{}
	s.Minutes, s.AtLeast = plan.Time.Minutes(), plan.Time.AtLeast()
	for _, step := range plan.Steps {
		devices[step.Device] = true
	}
	s.Devices = len(devices)
	var unread *Unread
	switch {
	case errors.As(err, &unread):
		s.State, s.Why = ToBeRead, err.Error()
	case err != nil:
		s.State, s.Why = NotPlanned, err.Error()
	case len(plan.LeftOut) > 0:
		s.State, s.Why = left(plan)
	case s.Steps > 0:
		s.State = Due
	default:
		s.State = UpToDate
	}
	return s
}

// left is the state of a vessel for which not all could be planned, and why: the
// gravest first.
func left(plan Plan) (state State, why string) {
	for _, l := range plan.LeftOut {
		switch {
		case l.GaveUp != "":
			return NotPlanned, l.gaveUp.Error()
		case len(l.Unknown) > 0:
			state, why = ToBeRead, (&Unread{plan.Unknown}).Error()
		case state == "":
			state, why = Blocked, l.Conflict.Because[0].Fact
		}
	}
	return state, why
}
