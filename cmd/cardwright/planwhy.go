package main

import (
	"errors"
	"fmt"
	"io"

	"cardwright/manifest/order"
	"cardwright/verify/visible"
)

// runWhy explains what is chosen for one device.
func runWhy(s *session, o planOptions, id string) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	if o.ask.within != 0 {
		return usage(fmt.Errorf("--why explains the whole plan: leave --within out"))
	}
	ask, err := o.ask.ask()
	if err != nil {
		return err
	}
	reason, err := order.Why(shop, vessel, ask, o.why)
	if bad, ok := errors.AsType[*order.BadAsk](err); ok {
		return usage(bad)
	}
	if err != nil {
		return fmt.Errorf("explaining %s: %w", o.why, err)
	}
	s.answer(reason, func(w io.Writer) {
		if reason.Conflict != nil {
			fmt.Fprintf(w, "%s: no safe order for %s.\n", visible.Visible(vessel.Name), reason.Device)
			writeBecause(w, reason.Conflict)
		} else {
			writeReason(w, reason)
		}
	})
	if reason.Conflict != nil {
		return &answered{exitNo}
	}
	return nil
}

func writeReason(w io.Writer, r order.Reason) {
	end := fmt.Sprintf("goes from %s to %s", r.Installed, r.Ends)
	if r.Installed == r.Ends {
		end = "stays on " + string(r.Ends)
	}
	fmt.Fprintf(w, "%s (%s) %s.\n", r.Device, r.Model, end)
	for i, n := range r.Newer {
		if i == 0 {
			fmt.Fprintln(w, "\nNewer, and not chosen")
		}
		text := string(n.Version)
		if n.Instead != "" {
			text += ": it could be had; instead " + n.Instead
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(text, "    "))
		for _, f := range n.Because {
			text := f.Fact
			if at := f.At.String(); at != "" { // a request has no position in a file
				text += " (" + at + ")"
			}
			fmt.Fprintf(w, "      %s\n", wrapped(text, "        "))
		}
	}
	fmt.Fprintf(w, "\n%s\n", wrapped("How it is chosen: "+r.Preference, "  "))
}
