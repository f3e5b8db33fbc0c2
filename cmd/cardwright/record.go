package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
)

type recordOptions struct {
	ask       askOptions
	key       keyOptions
	sheet     string
	steps     []string
	checks    []string
	settings  string
	at        string
	purpose   string
	told      string
	approved  string
	otherPlan bool
	takenOn   bool
	follow    bool
	reads     []string
	restOff   string
	byHand    bool
	undo      bool
	works     []string
	how       string
}

// onlyChecks reports whether nothing but checks, and versions that were read, is to be
// noted: of today's plan nothing is asked then.
func (o recordOptions) onlyChecks() bool {
	return len(o.reads)+len(o.checks) > 0 && len(o.steps) == 0 && o.sheet+o.settings+o.restOff == ""
}

func newRecordCommand(s *session) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "record VESSEL",
		Short: "Note what was done aboard, and update the vessel's file",
		Long: `record notes what was done aboard: from a filled sheet (--sheet), from flags, and at a
terminal by a question for each thing that is still open. What was noted is never
changed; cardwright ledger correct adds what is so instead.

A sheet is the JSON that the page on the phone saves, or a table (CSV) with a line for
each step or check. Its columns, in any order:

  a step   step, device, result (done, failed, put off), before, after,
           minutes, note
  a check  device, check, result (passed, failed, not done), value
  any line settings_saved, approved_by, told

UTF-8, UTF-16 and Latin-1 are read.

As flags, a step and a check are written so:

  --step '1=3.1 to 3.5, 11 min'
  --step '2=failed, screen stayed dark'
  --step '3=put off, the tide'
  --step 3=done:3.1:3.5:11          NUMBER=done:BEFORE:AFTER[:MINUTES[:NOTE]]
  --check helm:position=passed      DEVICE:CHECK=RESULT[:VALUE]

--put-off-rest WHY puts off every step that nothing else is said of. --read notes a
version that was read off a device. --check and --read alone ask nothing of the plan. --work with --how notes work
outside any plan. --taken-on notes the vessel with its devices, as in its file.`,
		Example: `  cardwright record kittiwake
  cardwright record kittiwake --sheet kittiwake-filled.json
  cardwright record kittiwake --step 1=done --put-off-rest 'the tide'`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRecord(interruptible(cmd), s, o, args[0])
		},
	}
	o.ask.addFlags(cmd)
	o.key.addFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&o.sheet, "sheet", "", "filled sheet: `FILE` (JSON or CSV)")
	flags.StringArrayVar(&o.steps, "step", nil, "a `STEP`, as above; may be repeated")
	flags.StringArrayVar(&o.checks, "check", nil, "a `CHECK`, as above; may be repeated")
	flags.StringArrayVar(&o.reads, "read", nil, "`DEVICE=VERSION`: a version that was read off a device; may be repeated")
	flags.StringVar(&o.restOff, "put-off-rest", "", "put off all other steps, and say `WHY`")
	flags.StringVar(&o.settings, "settings", "", "`WHERE` the settings were saved")
	flags.StringArrayVar(&o.works, "work", nil, "work outside any plan: `WORK` is DEVICE=BEFORE to AFTER, MINUTES min; may be repeated")
	flags.StringVar(&o.how, "how", "", "`HOW` that work was done: "+strings.Join(ledger.Hows, ", "))
	flags.StringVar(&o.at, "at", "", "`WHEN` the work ended: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	flags.StringVar(&o.purpose, "purpose", "", "`WHY` the work was done")
	flags.StringVar(&o.told, "told", "", "`WHO` was told: initials or a role")
	flags.StringVar(&o.approved, "approved", "", "`WHO` agreed to it: initials or a role")
	flags.BoolVar(&o.otherPlan, "other-plan", false, "the sheet is of another plan than today's: take its steps as printed")
	flags.BoolVar(&o.takenOn, "taken-on", false, "note the vessel and its devices as its file has them")
	flags.BoolVar(&o.byHand, "by-hand", false, "the vessel's file was changed by hand and is right: note that")
	flags.BoolVar(&o.follow, "from-ledger", false, "only bring the vessel's file up to date, where another van was aboard or a record was cut off")
	flags.BoolVar(&o.undo, "undo-by-hand", false, "only put back what was changed by hand in the vessel's file, as the ledger has it")
	return cmd
}

// moment is when the work ended.
func (o recordOptions) moment() (time.Time, error) {
	if o.at != "" {
		return pastMoment(o.at)
	}
	return time.Now().UTC().Truncate(time.Second), nil
}

// only refuses what would be left out without a word, where a record does
// something else than note work.
func (o recordOptions) only(does string) error {
	if !o.nothingElse() || len(o.works) > 0 {
		return usage(fmt.Errorf("%s, and nothing else: note the work with another record", does))
	}
	return nil
}

// said is what the flags say.
func (o recordOptions) said() record.Said {
	return record.Said{
		Steps: o.steps, Readings: o.reads, Checks: o.checks, RestOff: o.restOff,
		SettingsSaved: o.settings, ApprovedBy: o.approved, Told: o.told,
	}
}

// nothingElse reports whether no work is to be noted.
func (o recordOptions) nothingElse() bool {
	return o.sheet+o.settings+o.purpose+o.told+o.approved+o.restOff == "" && len(o.steps)+len(o.checks)+len(o.reads) == 0 && !o.otherPlan
}

// recording is one run of record.
type recording struct {
	session *session
	options recordOptions
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	key     *keys.Key
}

// known is what file and ledger say together of the vessel.
func (r *recording) known() *known.Joined { return r.session.known[r.vessel.ID] }

func runRecord(ctx context.Context, s *session, o recordOptions, id string) error {
	if o.follow {
		if done, err := broughtBack(ctx, s, id); done || err != nil {
			return err
		}
	}
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	if o.onlyChecks() {
		o.otherPlan = true // nobody asks what became of today's plan
	}
	if o.ask.wayBack {
		return usage(errors.New("--way-back is the way back of a whole plan: note first what was done of the plan, then plan and note the way back from there with --back DEVICE=VERSION"))
	}
	ranBefore(vessel, s.known[vessel.ID], &o.ask)
	r := &recording{session: s, options: o, shop: shop, vessel: vessel}
	if o.follow || o.undo {
		return followLedger(r)
	}
	if r.key, err = o.key.ledgerKey(); err != nil {
		return err
	}
	if o.takenOn {
		return takeOn(ctx, r)
	}
	if only, err := noteByHand(ctx, r); only || err != nil {
		return err
	}
	if len(o.works)+len(o.how) > 0 {
		return recordWork(ctx, r)
	}
	return recordVisit(ctx, r)
}
