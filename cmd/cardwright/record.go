package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"cardwright/manifest"
	"cardwright/manifest/durable"
	"cardwright/manifest/edit"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
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
}

// onlyReads tells whether nothing but versions that were read is to be noted.
func (o recordOptions) onlyReads() bool {
	return len(o.reads) > 0 && len(o.steps)+len(o.checks) == 0 && o.sheet+o.settings+o.restOff == ""
}

func newRecordCommand(s *session) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "record VESSEL",
		Short: "Note what was done aboard, and update the vessel's file",
		Long: `record takes what was done: from a filled sheet (--sheet, the JSON that the page
on the phone exports, or CSV), from flags, and at a terminal by one question for
each thing that is still open. What was noted is never changed; a mistake is
corrected by a later note.

A step is given as it is typed at a terminal: --step '1=3.1 to 3.5, 11 min',
--step '2=failed, screen stayed dark', --step '3=put off, the tide'; or with
colons, NUMBER=done:BEFORE:AFTER[:MINUTES[:NOTE]]. --put-off-rest WHY puts off all
steps of which nothing is said. A check: --check DEVICE:CHECK=passed[:VALUE],
failed or not done. --read DEVICE=VERSION notes a version that was read off a
device, without any plan. --taken-on notes the vessel itself with its devices, as
in its file.`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRecord(interruptible(cmd), s, o, args[0])
		},
	}
	o.ask.addFlags(cmd)
	o.key.addFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&o.sheet, "sheet", "", "filled sheet: JSON or CSV")
	flags.StringArrayVar(&o.steps, "step", nil, "a step, as above; may be repeated")
	flags.StringArrayVar(&o.checks, "check", nil, "a check, as above; may be repeated")
	flags.StringArrayVar(&o.reads, "read", nil, "DEVICE=VERSION: a version that was read off a device; may be repeated")
	flags.StringVar(&o.restOff, "put-off-rest", "", "put off all steps of which nothing else is said, and why")
	flags.StringVar(&o.settings, "settings", "", "where the settings were saved")
	flags.StringVar(&o.at, "at", "", "when the work ended: 2026-03-02, or 2026-03-02 14:30 (default: now)")
	flags.StringVar(&o.purpose, "purpose", "", "why the work was done")
	flags.StringVar(&o.told, "told", "", "who was told")
	flags.StringVar(&o.approved, "approved", "", "who agreed to it")
	flags.BoolVar(&o.otherPlan, "other-plan", false, "the sheet is of another plan than today's: take its steps as they stand")
	flags.BoolVar(&o.takenOn, "taken-on", false, "note the vessel and its devices as they stand in its file")
	flags.BoolVar(&o.follow, "from-ledger", false, "only bring the vessel's file up to date, where another van was aboard or a record was cut off")
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
	if o.sheet+o.settings+o.purpose+o.told+o.approved+o.restOff != "" || len(o.steps)+len(o.checks)+len(o.reads) > 0 || o.otherPlan {
		return usage(fmt.Errorf("%s, and nothing else: note the work aboard by another record", does))
	}
	return nil
}

// recording is one run of record.
type recording struct {
	session *session
	options recordOptions
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	key     *keys.Key
	job     record.Job
	filled  record.Filled
	visit   record.Visit
	typed   *bufio.Reader // at a terminal
	asked   bool          // and something was answered there
	checks  int           // how many were asked for
}

func runRecord(ctx context.Context, s *session, o recordOptions, id string) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	if o.onlyReads() {
		o.otherPlan = true // nobody asks what became of today's plan
	}
	r := recording{session: s, options: o, shop: shop, vessel: vessel}
	if o.follow {
		return r.followLedger(ctx)
	}
	if r.key, err = o.key.ledgerKey(); err != nil {
		return err
	}
	if o.takenOn {
		return r.takeOn(ctx)
	}
	if err := r.prepare(ctx); err != nil {
		return err
	}
	again, err := r.recorded(ctx)
	if err != nil {
		return err
	}
	if again {
		return r.keepAgain(ctx)
	}
	if err := r.job.Belongs(r.filled, r.visit); err != nil {
		return usage(err)
	}
	if err := r.tellBehind(ctx); err != nil {
		return err
	}
	if err := r.somethingToNote(); err != nil {
		return err
	}
	outcome, noted, err := r.askAndNote(ctx)
	if errors.Is(err, store.ErrRecorded) { // meanwhile, by another cardwright
		return r.keepAgain(ctx)
	}
	if !noted {
		return r.saveTyped(err)
	}
	return r.keep(ctx, outcome)
}

// askAndNote asks what is open and notes all of it, if it is right.
func (r *recording) askAndNote(ctx context.Context) (outcome record.Outcome, noted bool, err error) {
	if err := r.askOpen(ctx); err != nil {
		return outcome, false, err
	}
	if outcome, err = r.job.Entries(r.filled, r.visit); err != nil {
		return outcome, false, usage(err)
	}
	yes, err := r.agreed(ctx, outcome)
	if err != nil || !yes {
		return outcome, false, err
	}
	r.session.by = r.filled.By
	err = r.session.noteVisit(ctx, r.shop, r.key, r.visit.ID, outcome.Entries...)
	return outcome, err == nil, err
}

// saveTyped keeps what was typed, where it could not be noted or wasn't right:
// nobody types twenty answers twice.
func (r *recording) saveTyped(cause error) error {
	if !r.asked {
		return cause
	}
	name := fmt.Sprintf("unfinished-%s-%s.json", r.vessel.ID, time.Now().Format("20060102-150405"))
	path := filepath.Join(r.shop.Dir, name)
	err := r.writeTyped(path)
	again := "  " + r.again(path)
	switch {
	case err != nil:
		return errors.Join(cause, fmt.Errorf("keeping what was typed: %w", err))
	case cause != nil:
		return fmt.Errorf("%w\nwhat you typed stands in %s\ngo on from there:\n%s", cause, path, again)
	}
	fmt.Fprintf(r.session.errs, "Nothing was noted. What you typed stands in %s\nPut it right there, then:\n%s\n", visible.Visible(path), again)
	return nil
}

// again is the command that goes on with a sheet as this one would have.
func (r *recording) again(sheet string) string {
	o := r.options
	words := append([]string{"cardwright", "record", r.vessel.ID, "--sheet", sheet}, r.session.flags(o.ask)...)
	for _, flag := range []struct{ name, value string }{
		{"--key", o.key.file}, {"--at", o.at}, {"--purpose", o.purpose}, {"--told", o.told}, {"--approved", o.approved},
	} {
		if flag.value != "" {
			words = append(words, flag.name, flag.value)
		}
	}
	if o.otherPlan {
		words = append(words, "--other-plan")
	}
	for i := range words {
		words[i] = media.ShellWord(words[i])
	}
	return strings.Join(words, " ")
}

func (r *recording) writeTyped(path string) error {
	text, err := r.filled.JSON()
	if err != nil {
		return err
	}
	return durable.WriteNew(path, 0o666, bytes.NewReader(text))
}

// somethingToNote keeps an empty visit out of the ledger, where it would stay.
func (r *recording) somethingToNote() error {
	f := r.filled
	if len(r.job.Plan.Steps)+len(f.Steps)+len(f.Checks) > 0 || f.SettingsSaved != "" || r.visit.Purpose != "" {
		return nil
	}
	return usage(fmt.Errorf("nothing is planned for %s, so there is nothing to ask: note other work with --sheet and --other-plan, a visit without any with --purpose, the vessel as its file has it with --taken-on", r.vessel.Name))
}

// recorded tells whether this very sheet is in the ledger already: at all, or,
// where a date is given, for that day. Noted for two days it is two visits.
func (r *recording) recorded(ctx context.Context) (bool, error) {
	if r.options.sheet == "" {
		return false, nil
	}
	l, err := openLedger(ctx, r.shop)
	if err != nil {
		return false, err
	}
	visits, err := l.VisitsOf(ctx, r.visit.ID)
	if err = errors.Join(err, l.Close()); err != nil || r.options.at == "" {
		return len(visits) > 0, err
	}
	for _, at := range visits {
		if date(at) == date(r.visit.At) {
			return true, nil
		}
	}
	r.visit.ID += "@" + date(r.visit.At)
	return false, nil
}

// keepAgain notes nothing twice. Where the vessel's file was not reached the
// first time, the plan is still the sheet's, and the file is brought up to date.
func (r *recording) keepAgain(ctx context.Context) error {
	if o := r.options; len(o.steps)+len(o.checks) > 0 || o.settings+o.purpose+o.told+o.approved != "" {
		return usage(errors.New("this sheet is in the ledger already, so nothing was noted: what was said beside it is noted by a record without the sheet"))
	}
	file := ""
	if outcome, err := r.job.Entries(r.filled, r.visit); err == nil {
		counts, _, err := r.whatCounts(ctx, outcome.Versions)
		if err != nil {
			return err
		}
		if file, err = updateVessel(r.shop, r.vessel, counts); err != nil {
			return fmt.Errorf("bringing the vessel's file up to date: %w", err)
		}
	}
	r.session.answer(struct {
		Format   int    `json:"format"`
		Recorded bool   `json:"recorded_before"`
		File     string `json:"file"`
	}{1, true, file}, func(w io.Writer) {
		fmt.Fprintln(w, "This sheet is in the ledger already: nothing was noted.")
		if file != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
	})
	return nil
}

// prepare gathers what the sheet is filled in against, and what is filled in.
func (r *recording) prepare(ctx context.Context) error {
	_, plan, err := planned(r.shop, r.vessel, r.options.ask)
	if _, unread := errors.AsType[*order.Unread](err); unread && r.options.otherPlan {
		plan, err = order.Plan{}, nil // other work can be noted, and the very reading that is missing
	}
	if err != nil {
		return err
	}
	r.job = record.Job{Plan: plan, Vessel: r.vessel, Catalogue: r.shop.Models}
	if r.job.Cards, err = r.cards(ctx); err != nil {
		return err
	}
	if err := r.session.sureMoment(ctx, "--at", &r.options.at); err != nil {
		return err
	}
	at, err := r.options.moment()
	if err != nil {
		return err
	}
	r.visit = record.Visit{
		ID: ledger.NewVisit(), At: at, Purpose: r.options.purpose,
		ApprovedBy: r.options.approved, Told: r.options.told, OtherPlan: r.options.otherPlan,
	}
	return r.fill()
}

// cards are the releases that stood on good cards for this vessel.
func (r *recording) cards(ctx context.Context) ([]ledger.OnCard, error) {
	l, err := store.Open(ctx, ledgerAddress(r.shop), store.Options{Create: true})
	if err != nil {
		return nil, fmt.Errorf("opening the ledger: %w", err)
	}
	cards, err := audit.OnGoodCards(ctx, l, r.vessel.ID)
	return cards, errors.Join(err, l.Close())
}

// fill takes the sheet, then the flags.
func (r *recording) fill() error {
	r.filled = record.Filled{Format: record.Format, Vessel: r.vessel.ID, Plan: r.job.Plan.ID(), By: r.session.technician()}
	if r.options.otherPlan {
		r.filled.Plan = "" // of which one, only the sheet can say
	}
	if r.options.sheet != "" {
		if err := r.readSheet(); err != nil {
			return err
		}
		if err := r.planOfSheet(); err != nil {
			return err
		}
	}
	if r.options.settings != "" {
		r.filled.SettingsSaved = r.options.settings
	}
	for _, text := range r.options.steps {
		step, err := r.stepOf(text)
		if err != nil {
			return usage(err)
		}
		r.filled.Steps = append(r.filled.Steps, step)
	}
	if r.options.restOff != "" {
		r.job.PutOffRest(&r.filled, r.options.restOff)
	}
	for _, text := range r.options.reads {
		device, v, ok := strings.Cut(text, "=")
		if !ok {
			return usage(fmt.Errorf("--read %s: expected DEVICE=VERSION", text))
		}
		r.filled.Checks = append(r.filled.Checks, record.FilledCheck{Device: device, Check: ledger.VersionShown, Result: record.Passed, Value: v})
	}
	for _, text := range r.options.checks {
		check, err := checkOf(text)
		if err != nil {
			return usage(err)
		}
		r.filled.Checks = append(r.filled.Checks, check)
	}
	return nil
}

// planOfSheet takes the plan that builds before this one made of the same steps,
// where the sheet is filled in for that one.
func (r *recording) planOfSheet() error {
	filled := r.filled
	if filled.Plan == r.job.Plan.ID() {
		filled.Plan = "" // also where the sheet, a table, doesn't say: its steps do
	}
	if r.options.otherPlan || fits(filled, r.job.Plan) {
		return nil
	}
	ask, err := r.options.ask.ask()
	if err != nil {
		return err
	}
	ask.Earlier = true
	if _, plan, err := plannedFor(r.shop, r.vessel, ask); err == nil && fits(filled, plan) {
		r.job.Plan = plan
		if r.filled.Plan != "" {
			r.filled.Plan = plan.ID()
		}
	}
	return nil
}

// fits tells whether a sheet can have been filled in for a plan.
func fits(f record.Filled, plan order.Plan) bool {
	if f.Plan != "" {
		return f.Plan == plan.ID()
	}
	return !slices.ContainsFunc(f.Steps, func(s record.FilledStep) bool {
		return s.Number < 1 || s.Number > len(plan.Steps) || s.Device != plan.Steps[s.Number-1].Device
	})
}

func (r *recording) readSheet() error {
	f, err := os.Open(r.options.sheet)
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, record.MaxSheet+1))
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	r.visit.ID = record.VisitOf(text)
	if strings.EqualFold(filepath.Ext(r.options.sheet), ".csv") {
		r.visit.ID = record.VisitOf(append([]byte(r.vessel.ID+"\n"), text...)) // two boats may give the same table
		filled, err := record.ReadCSV(bytes.NewReader(text))
		if err != nil {
			return usage(err)
		}
		r.filled.Steps, r.filled.Checks, r.filled.SettingsSaved = filled.Steps, filled.Checks, filled.SettingsSaved
		return nil
	}
	filled, err := record.ReadJSON(text)
	if err != nil {
		return usage(err)
	}
	if filled.Vessel != r.vessel.ID {
		return usage(r.job.Belongs(filled, r.visit))
	}
	if filled.By == "" {
		filled.By = r.session.technician()
	}
	r.filled = filled
	return nil
}

// stepOf reads NUMBER=RESULT[:BEFORE:AFTER[:MINUTES[:NOTE]]].
func (r *recording) stepOf(text string) (record.FilledStep, error) {
	number, rest, ok := strings.Cut(text, "=")
	n, err := strconv.Atoi(number)
	if !ok || err != nil || n < 1 || n > len(r.job.Plan.Steps) {
		return record.FilledStep{}, fmt.Errorf("--step %s: expected NUMBER=RESULT, the number from 1 to %d", text, len(r.job.Plan.Steps))
	}
	if word, _, colons := strings.Cut(rest, ":"); !colons || !slices.Contains([]string{record.Done, record.Failed, record.PutOff}, word) {
		var typed record.Filled
		if err := r.job.Answer(&typed, "step/"+number, rest); err != nil {
			return record.FilledStep{}, fmt.Errorf("--step %s: %w", text, err)
		}
		return typed.Steps[0], nil
	}
	fields := strings.SplitN(rest, ":", 5)
	step := record.FilledStep{Number: n, Device: r.job.Plan.Steps[n-1].Device, Result: fields[0]}
	for i, field := range fields[1:] {
		switch i {
		case 0:
			step.Before = version.V(field)
		case 1:
			step.After = version.V(field)
		case 2:
			if step.Minutes, err = strconv.Atoi(field); err != nil && field != "" {
				return step, fmt.Errorf("--step %s: %q is not a number of minutes", text, field)
			}
		case 3:
			step.Note = field
		}
	}
	return step, nil
}

// checkOf reads DEVICE:CHECK=RESULT[:VALUE].
func checkOf(text string) (record.FilledCheck, error) {
	left, right, ok := strings.Cut(text, "=")
	device, check, both := strings.Cut(left, ":")
	if !ok || !both {
		return record.FilledCheck{}, fmt.Errorf("--check %s: expected DEVICE:CHECK=RESULT", text)
	}
	result, value, _ := strings.Cut(right, ":")
	return record.FilledCheck{Device: device, Check: check, Result: result, Value: value}, nil
}

// askOpen asks at a terminal for what is open; elsewhere what is needed and
// open is an error that lists it.
func (r *recording) askOpen(ctx context.Context) error {
	if r.options.onlyReads() {
		return nil
	}
	open := r.open()
	in, ok := r.session.in.(*os.File)
	if ok && term.IsTerminal(int(in.Fd())) {
		if len(open) > 0 {
			r.howToAnswer(open)
		}
		r.typed = bufio.NewReader(in)
		return r.askAll(ctx)
	}
	var needed []string
	for _, q := range open {
		if q.Needed {
			needed = append(needed, q.Ask)
		}
	}
	if len(needed) > 0 {
		return usage(fmt.Errorf("the plan leaves open, and nobody is there to ask:\n  %s\nsay it with --step, --check or --sheet", strings.Join(needed, "\n  ")))
	}
	return nil
}

// open are the questions that are open.
func (r *recording) open() []record.Question {
	if r.options.otherPlan {
		return r.job.OpenOfOther(r.filled)
	}
	return r.job.Open(r.filled)
}

// howToAnswer says once what is the same for every step.
func (r *recording) howToAnswer(open []record.Question) {
	n := 0
	for _, q := range open {
		if record.IsStep(q) {
			n++
		}
	}
	text := fmt.Sprintf("%s: what was done aboard? Nothing is noted before the last answer.", r.vessel.Name)
	if steps := r.job.Plan.Steps; n > 0 {
		text = fmt.Sprintf("%s: what became of the %s? Type the version that the device shows now, or both versions and the minutes: %s to %s, %d min. Or: failed, and why; put off, and why; rest put off, and why. Nothing is noted before the last answer.",
			r.vessel.Name, counted(n, "step"), steps[0].From, steps[0].To, max(1, steps[0].Minutes))
	}
	fmt.Fprintf(r.session.errs, "%s\n\n", wrapped(text, ""))
}

func (r *recording) askAll(ctx context.Context) error {
	done := map[string]bool{}
	for {
		open := r.open()
		q, ok := nextQuestion(open, done)
		if !ok {
			return nil
		}
		answer, err := r.ask(ctx, r.numbered(q, open), q.Default)
		if err != nil {
			return err
		}
		if answer == "" && !q.Needed {
			done[q.Key] = true
			continue
		}
		if err := r.job.Answer(&r.filled, q.Key, answer); err != nil {
			fmt.Fprintf(r.session.errs, "  %s\n", wrapped(err.Error(), "  "))
			continue
		}
		done[q.Key] = true
		r.asked = true
	}
}

// numbered says of a check which one of how many it is, so that nobody has to
// wonder how long this goes on.
func (r *recording) numbered(q record.Question, open []record.Question) string {
	if !record.IsCheck(q) {
		return q.Ask
	}
	left := 0
	for _, o := range open {
		if record.IsCheck(o) {
			left++
		}
	}
	r.checks = max(r.checks, left)
	return fmt.Sprintf("Check %d of %d. %s", r.checks-left+1, r.checks, q.Ask)
}

// ask asks one question; an empty answer means the usual one.
func (r *recording) ask(ctx context.Context, question, usual string) (string, error) {
	if usual != "" {
		question += " [" + usual + "]"
	}
	fmt.Fprintf(r.session.errs, "%s ", wrapped(question, "  "))
	text, err := lineTyped(ctx, r.typed)
	if err != nil {
		fmt.Fprintln(r.session.errs)
		return "", fmt.Errorf("reading the answer; nothing was noted: %w", err)
	}
	return cmp.Or(text, usual), nil
}

// agreed shows what would be noted and asks whether it is right, since what is
// noted stays: only where something was typed or a sheet was named at a
// terminal, and --yes doesn't say so.
func (r *recording) agreed(ctx context.Context, outcome record.Outcome) (bool, error) {
	sheet := r.typed != nil && r.options.sheet != ""
	if !r.asked && !sheet || r.session.yes {
		return true, nil
	}
	fmt.Fprintf(r.session.errs, "\nThis will be noted, by %s:\n", visible.Visible(r.filled.By))
	for _, e := range outcome.Entries {
		fmt.Fprintf(r.session.errs, "  %s\n", wrapped(e.Tell(), "    "))
	}
	for {
		answer, err := r.ask(ctx, "Is it right: yes or no?", "")
		switch strings.ToLower(answer) {
		case "y", "yes":
			return true, err
		case "n", "no":
			return false, err
		}
		if err != nil {
			return false, err
		}
	}
}

func nextQuestion(open []record.Question, done map[string]bool) (record.Question, bool) {
	for _, q := range open {
		if !done[q.Key] {
			return q, true
		}
	}
	return record.Question{}, false
}

// keep brings the vessel's file up to date with what was noted: the ledger
// comes first, since the file follows from it.
func (r *recording) keep(ctx context.Context, outcome record.Outcome) error {
	counts, late, err := r.whatCounts(ctx, outcome.Versions)
	if err != nil {
		return err
	}
	outcome.Notes = append(outcome.Notes, late...)
	changed, err := updateVessel(r.shop, r.vessel, counts)
	if err != nil {
		return fmt.Errorf("the ledger has it, but the vessel's file could not be brought up to date: %w", err)
	}
	r.session.answer(struct {
		Format  int                  `json:"format"`
		Entries []ledger.Entry       `json:"entries"`
		Files   map[string]version.V `json:"versions"`
		Notes   []string             `json:"notes"`
	}{1, outcome.Entries, outcome.Versions, outcome.Notes}, func(w io.Writer) {
		fmt.Fprintf(w, "%s noted for %s.\n", counted(len(outcome.Entries), "event"), visible.Visible(r.vessel.Name))
		for _, e := range outcome.Entries {
			fmt.Fprintf(w, "  %s\n", wrapped(e.Tell(), "    "))
		}
		if changed != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", changed)
		}
		for _, n := range outcome.Notes {
			fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
		}
	})
	return nil
}

// whatCounts gives what the ledger goes by for the devices that were seen, which
// is what belongs in the vessel's file, and tells of those for which that is a
// later reading than this visit's: where a visit is noted after the day, was
// corrected since, or two vans were aboard. Then the file is only brought up to
// date where it is behind: what somebody wrote there by hand may be newer.
func (r *recording) whatCounts(ctx context.Context, seen map[string]version.V) (map[string]version.V, []string, error) {
	l, err := openLedger(ctx, r.shop)
	if err != nil {
		return nil, nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, time.Time{}, audit.Filter{})
	if err != nil {
		return nil, nil, err
	}
	behind := devicesBehind(r.vessel, h)
	counts := map[string]version.V{}
	var notes []string
	for _, d := range h.Devices {
		v, ok := seen[d.ID]
		if !ok || d.Unknown() {
			continue
		}
		later := ledger.VersionKey(v) != ledger.VersionKey(d.Version)
		if !later || slices.ContainsFunc(behind, func(b audit.Device) bool { return b.ID == d.ID }) {
			counts[d.ID] = d.Version
		}
		if later {
			notes = append(notes, fmt.Sprintf("%s: the ledger goes by a later reading, %s on %s; read the device again if that is not so", d.ID, d.Version, clock(d.Since)))
		}
	}
	return counts, notes, nil
}

// updateVessel writes versions into the vessel's file and names the file; ""
// where it has them already.
func updateVessel(shop *manifest.Shop, vessel *manifest.Vessel, versions map[string]version.V) (string, error) {
	if len(versions) == 0 {
		return "", nil
	}
	name := vessel.At("").File
	differs, err := edit.Rewrite(shop.Dir, name, func(text []byte) ([]byte, error) {
		return record.UpdateVersions(text, versions)
	})
	if err != nil || !differs {
		return "", err
	}
	return name, nil
}

// takeOn notes the vessel as its file has it, and that what is no longer in the
// file is no longer aboard.
func (r *recording) takeOn(ctx context.Context) error {
	if err := r.options.only("--taken-on notes the vessel as its file has it"); err != nil {
		return err
	}
	if err := r.session.sureMoment(ctx, "--at", &r.options.at); err != nil {
		return err
	}
	at, err := r.options.moment()
	if err != nil {
		return err
	}
	id := r.vessel.Identity
	taken := ledger.TakenOn{Name: r.vessel.Name, Hull: id.Hull, IMO: id.IMO, MMSI: id.MMSI}
	for _, d := range r.vessel.Devices {
		fitted := ledger.Fitted{Device: ledger.Device{ID: d.ID, Model: d.Model, Place: d.Place, Serial: d.Serial, Variant: d.Variant}, Version: d.Version}
		if m := r.shop.Model(d.Model); m != nil {
			fitted.Device.Kind, fitted.Device.Maker, fitted.Device.Name = string(m.Kind), m.Maker, m.Name
		}
		taken.Devices = append(taken.Devices, fitted)
	}
	if taken.Removed, err = r.removed(ctx, at); err != nil {
		return err
	}
	e := ledger.Entry{
		At: at, Kind: ledger.VesselTakenOn,
		Vessel: r.vessel.ID, Berth: r.vessel.Berth, TakenOn: &taken,
	}
	if err := r.session.note(ctx, r.shop, r.key, e); err != nil {
		return err
	}
	r.session.answer(e, func(w io.Writer) { fmt.Fprintln(w, wrapped(e.Tell(), "  ")) })
	return nil
}

// removed are the devices that were aboard at a moment, as the ledger has it,
// and aren't in the vessel's file.
func (r *recording) removed(ctx context.Context, at time.Time) ([]string, error) {
	l, err := openLedger(ctx, r.shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, at, audit.Filter{})
	if errors.Is(err, audit.ErrNothing) {
		return nil, nil
	}
	var gone []string
	for _, d := range h.Devices {
		if !d.Gone && r.vessel.Device(d.ID) == nil {
			gone = append(gone, d.ID)
		}
	}
	return gone, err
}
