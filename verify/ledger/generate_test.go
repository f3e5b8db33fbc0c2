package ledger_test

import (
	"fmt"
	"strings"
	"time"

	"pgregory.net/rapid"

	"cardwright/manifest/digest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Generators of anything that may be written.

var (
	words    = rapid.StringMatching(`[A-Za-z0-9"<>&é船/\\ -]{0,20}[A-Za-z0-9é船]`)
	maybes   = rapid.OneOf(rapid.Just(""), words)
	notes    = rapid.OneOf(rapid.Just(""), rapid.StringMatching("[a-z<>\"\n é]{0,60}"))
	versions = rapid.StringMatching(`([0-2]:)?[0-9]{1,2}(\.[0-9]{1,2}|[a-c+~][0-9]?){0,3}(-[0-9a-c.~]{1,3})?`)
	digests  = rapid.StringMatching(`[0-9a-f]{64}`)
	times    = rapid.Custom(func(t *rapid.T) time.Time {
		return time.Unix(rapid.Int64Range(700_000_000, 7_000_000_000).Draw(t, "time"), 0).UTC()
	})
)

func anyVersion(t *rapid.T) version.V { return version.V(versions.Draw(t, "version")) }

func maybeVersion(t *rapid.T) version.V {
	return version.V(rapid.OneOf(rapid.Just(""), rapid.Just("unknown"), versions).Draw(t, "version"))
}

func device(t *rapid.T, id string) ledger.Device {
	return ledger.Device{
		ID: id, Kind: maybes.Draw(t, "kind"), Maker: maybes.Draw(t, "maker"), Model: words.Draw(t, "model"),
		Name: maybes.Draw(t, "name"), Place: maybes.Draw(t, "place"), Serial: maybes.Draw(t, "serial"), Variant: maybes.Draw(t, "variant"),
	}
}

// entries gives valid entries of every kind.
var entries = rapid.Custom(func(t *rapid.T) ledger.Entry {
	e := ledger.Entry{
		At: times.Draw(t, "at"), Berth: maybes.Draw(t, "berth"), Vessel: words.Draw(t, "vessel"), Visit: words.Draw(t, "visit"),
		Kind: rapid.SampledFrom(ledger.Kinds).Draw(t, "kind"),
	}
	switch e.Kind {
	case ledger.Correction:
		e.Correction = &ledger.Correcting{Of: digests.Draw(t, "of"), Why: words.Draw(t, "why")}
		if rapid.Bool().Draw(t, "replaced") {
			instead := ledger.Entry{At: times.Draw(t, "at"), Vessel: e.Vessel, Visit: "v", Kind: ledger.StepDone}
			fill(t, &instead)
			e.Correction.Instead = &instead
		}
	default:
		fill(t, &e)
	}
	return e
})

func fill(t *rapid.T, e *ledger.Entry) {
	switch e.Kind {
	case ledger.VesselTakenOn:
		e.TakenOn = &ledger.TakenOn{
			Name: words.Draw(t, "name"), Hull: maybes.Draw(t, "hull"), Note: notes.Draw(t, "note"),
			Removed: rapid.SampledFrom([][]string{nil, {"old radar"}}).Draw(t, "removed"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "devices") {
			id := string(rune('a' + len(e.TakenOn.Devices)))
			e.TakenOn.Devices = append(e.TakenOn.Devices, ledger.Fitted{Device: device(t, id), Version: maybeVersion(t)})
		}
	case ledger.CardPrepared, ledger.CardVerified:
		e.Card = &ledger.Card{
			Digest: rapid.OneOf(rapid.Just(""), digests).Draw(t, "digest"), Foreign: rapid.Bool().Draw(t, "foreign"),
			Number: rapid.IntRange(0, 9).Draw(t, "number"), Size: rapid.Int64Range(0, 1<<40).Draw(t, "size"),
			Target: maybes.Draw(t, "target"), Verdict: rapid.SampledFrom([]string{"good", "bad", "unchecked"}).Draw(t, "verdict"),
			Releases: []ledger.CardRelease{{Device: "a", Model: words.Draw(t, "model"), Version: anyVersion(t)}},
		}
	case ledger.VisitBegun:
		e.VisitBegun = &ledger.Visit{ApprovedBy: maybes.Draw(t, "approved"), Purpose: maybes.Draw(t, "purpose"), Note: notes.Draw(t, "note")}
	case ledger.StepDone, ledger.StepFailed, ledger.StepPutOff:
		e.Step = &ledger.Step{
			Device: device(t, words.Draw(t, "id")), Before: maybeVersion(t), Number: rapid.IntRange(0, 99).Draw(t, "number"),
			Minutes: rapid.IntRange(0, 500).Draw(t, "minutes"), Note: notes.Draw(t, "note"), Reason: notes.Draw(t, "reason"),
			How:     rapid.SampledFrom(append([]string{""}, ledger.Hows...)).Draw(t, "how"),
			WayBack: rapid.SampledFrom([]string{"", ledger.WayBackThere, ledger.WayBackNone}).Draw(t, "way back"),
			Files:   rapid.SampledFrom([][]ledger.File{nil, {{Name: "a/b.upd", SHA256: digest.SHA256(strings.Repeat("0f", 32)), Size: 1 << 40}}}).Draw(t, "files"),
		}
		if e.Kind == ledger.StepDone {
			e.Step.After = anyVersion(t)
		}
	case ledger.SettingsSaved:
		e.Settings = &ledger.Settings{Where: words.Draw(t, "where"), Note: notes.Draw(t, "note")}
	case ledger.CheckPassed, ledger.CheckFailed, ledger.CheckNotDone:
		e.Check = &ledger.Check{Check: words.Draw(t, "check"), Device: device(t, words.Draw(t, "id")), Value: maybes.Draw(t, "value")}
		if rapid.Bool().Draw(t, "trial") {
			e.Check.Trial = trial(t)
		}
	case ledger.WrittenByHand:
		e.ByHand = &ledger.ByHand{
			Devices: []ledger.Fitted{{Device: device(t, "a"), Version: maybeVersion(t)}},
			Removed: rapid.SampledFrom([][]string{nil, {"old radar"}}).Draw(t, "removed"),
		}
	case ledger.DeviceReplaced, ledger.DeviceMoved, ledger.DeviceTakenOff:
		e.DeviceChange = &ledger.DeviceChange{
			Device: device(t, "a"), Note: notes.Draw(t, "note"), Was: ledger.Fitted{Device: device(t, "a"), Version: maybeVersion(t)},
		}
		if e.Kind == ledger.DeviceReplaced {
			e.DeviceChange.Version = maybeVersion(t)
		}
	case ledger.VesselRenamed:
		e.VesselChange = &ledger.VesselChange{
			ID: rapid.OneOf(rapid.Just(""), rapid.Just(e.Vessel+" 2")).Draw(t, "id"), Name: words.Draw(t, "name"), Note: notes.Draw(t, "note"),
			Was: &ledger.Called{ID: e.Vessel, Name: words.Draw(t, "was")},
		}
	case ledger.VesselSold, ledger.VesselGone:
		e.VesselChange = &ledger.VesselChange{Note: notes.Draw(t, "note")}
	case ledger.CardLost, ledger.CardDestroyed:
		e.CardFate = &ledger.CardFate{Card: digests.Draw(t, "card"), Note: notes.Draw(t, "note")}
	case ledger.CardHandedOver:
		e.CardFate = &ledger.CardFate{Card: digests.Draw(t, "card"), To: words.Draw(t, "to")}
	case ledger.ReleaseWithdrawn:
		e.Withdrawal = &ledger.Withdrawal{Model: words.Draw(t, "model"), Version: anyVersion(t), Why: words.Draw(t, "why")}
	}
}

func trial(t *rapid.T) *ledger.Trial {
	values := func(name string, n int) []float64 {
		var all []float64
		for range rapid.SampledFrom([]int{0, n}).Draw(t, name) {
			all = append(all, ledger.Thousandths(rapid.Float64Range(-400, 400).Draw(t, name)))
		}
		return all
	}
	return &ledger.Trial{
		Coefficients: values("coefficients", 5), Doubts: values("doubts", 5), Errors: values("errors", 5),
		Helm: values("helm", 2), Place: values("place", 2), RMS: values("rms", 2), Method: maybes.Draw(t, "method"),
		Logs: []string{digests.Draw(t, "log")}, Verdict: words.Draw(t, "verdict"),
	}
}

var statements = rapid.Custom(func(t *rapid.T) ledger.Statement {
	s := ledger.Statement{
		Chain: rapid.StringMatching(`[0-9a-f]{32}`).Draw(t, "chain"), Entry: entries.Draw(t, "entry"), Format: ledger.Format,
		Seq: rapid.Int64Range(1, 1000).Draw(t, "seq"), Shop: words.Draw(t, "shop"), Technician: words.Draw(t, "technician"),
		Writer: digests.Draw(t, "writer"), Written: times.Draw(t, "written"),
	}
	if says := s.Entry.Says(); says != nil && says.Check != nil && says.Check.Trial != nil {
		s.Format = 2
	}
	if rapid.IntRange(0, 3).Draw(t, "seen") == 0 {
		s.Format = 3
		for n := range rapid.IntRange(1, 3).Draw(t, "chains") {
			s.Seen = append(s.Seen, ledger.Seen{
				Chain: fmt.Sprintf("%032x", n), ID: digests.Draw(t, "id"), Seq: rapid.Int64Range(1, 1000).Draw(t, "seq"), Writer: digests.Draw(t, "writer"),
			})
		}
	}
	if says := s.Entry.Says(); says != nil && (says.ByHand != nil || says.DeviceChange != nil || says.VesselChange != nil || says.CardFate != nil || says.Step != nil && says.Step.How != "") {
		s.Format = 4
	}
	if s.Seq > 1 {
		s.Prev = digests.Draw(t, "prev")
	}
	return s
})
