package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/keys"
	"cardwright/media/place"
	"cardwright/verify"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

type prepareOptions struct {
	to        []string
	size      string
	loseFiles bool
	saveFirst string
	capacity  string // "", full or quick
	erase     []string
	beside    bool
	eject     bool
	ask       askOptions
	key       keyOptions
}

func newPrepareCommand(s *session) *cobra.Command {
	var o prepareOptions
	cmd := &cobra.Command{
		Use:   "prepare VESSEL --to TARGET…",
		Short: "Write a vessel's cards and prove them by reading them back",
		Long: `prepare writes what a vessel's devices need onto cards, and proves every card by
reading it back from the medium. A target is an image file, a drive or a mounted
folder. Name one for each card of the plan, in their order; name two for each, and you
get two equal sets.

An image or a drive has no file system until it is proven: however the work is
interrupted, no device takes it for a finished card.`,
		Example: `  cardwright prepare kittiwake --to kittiwake.img --size 4GB
  cardwright prepare kittiwake --to DRIVE --eject`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			keepMemory()
			return runPrepare(interruptible(cmd), s, o, args[0])
		},
	}
	cmd.Flags().StringArrayVar(&o.to, "to", nil, "write to this `TARGET`: an image file, a drive or a mounted folder; may be repeated")
	o.addTargetFlags(cmd)
	o.key.addFlag(cmd)
	o.ask.addFlags(cmd)
	return cmd
}

// addTargetFlags adds what is asked about a target, to every command that
// writes one.
func (o *prepareOptions) addTargetFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&o.size, "size", "", "`SIZE` of the card that an image is for: 8GB, 4GiB or bytes")
	flags.BoolVar(&o.loseFiles, "lose-files", false, "overwrite files that cardwright did not write")
	flags.StringVar(&o.saveFirst, "save-first", "", "before erasing a card with other files, copy all of it to this `FILE` and compare the copy")
	flags.StringArrayVar(&o.erase, "erase", nil, "`CODE` of a card that may be erased, as cardwright readers shows it; may be repeated")
	flags.StringVar(&o.capacity, "prove-capacity", "", "first write and read all of a drive, to find cards that claim more than they hold; with `HOW`=quick only some places, which proves nothing")
	flags.Lookup("prove-capacity").NoOptDefVal = "full"
	flags.BoolVar(&o.eject, "eject", false, "eject a drive's card when it is proven, so that nothing writes to it any more")
	flags.BoolVar(&o.beside, "beside", false, "leave other files in a mounted folder")
}

// preparing is one run of prepare.
type preparing struct {
	session  *session
	options  prepareOptions
	shop     *manifest.Shop
	vessel   *manifest.Vessel
	layout   media.Layout
	plan     order.Plan
	packages media.Packages
	order    []byte    // the install order's text, as it goes onto the cards
	key      *keys.Key // nil: records aren't signed
	targets  []*cardTarget
	answer   func(prepared) // takes the answer where JSON is asked for
}

func runPrepare(ctx context.Context, s *session, o prepareOptions, id string) error {
	shop, vessel, err := s.vesselToJudge(id)
	if err != nil {
		return err
	}
	writeOpen(s.errs, &s.terminal, vessel, s.known[vessel.ID])
	ranBefore(vessel, s.known[vessel.ID], &o.ask)
	return prepare(ctx, &preparing{session: s, options: o, shop: shop, vessel: vessel, packages: media.PackagesOf(shop), answer: func(a prepared) { s.writeJSON(a) }})
}

// prepare writes and proves the cards.
func prepare(ctx context.Context, p *preparing) (err error) {
	o := p.options
	if len(o.to) == 0 {
		return usage(fmt.Errorf("name where the card goes with --to: an image file, a drive or a mounted folder"))
	}
	if o.saveFirst != "" {
		if err := place.MayMake(o.saveFirst); err != nil {
			return usage(fmt.Errorf("--save-first %w", err))
		}
	}
	if err := p.lay(ctx); err != nil {
		return err
	}
	if p.plan.Conflict != nil || len(p.layout.Cards) == 0 {
		return p.nothingToWrite()
	}
	if p.key, err = o.key.signingIfKnown(p.session, "the cards are not signed, and not noted in the ledger"); err != nil {
		return err
	}
	defer p.close()
	if err := p.ready(ctx); err != nil {
		return err
	}
	if o.capacity != "" {
		p.prove(ctx)
	}
	outcomes := p.write(ctx)
	noting := p.note(ctx, outcomes)
	p.release(outcomes)
	return p.conclude(ctx, outcomes, noting)
}

// lay finds the targets' sizes, plans, and lays the cards out for them.
func (p *preparing) lay(ctx context.Context) error {
	for _, path := range p.options.to {
		t, err := p.target(ctx, path)
		if err != nil {
			return err
		}
		for _, other := range p.targets {
			if samePlace(other.path, path) {
				return usage(fmt.Errorf("%s and %s are one target: a card stands in one place; name each once", other.path, path))
			}
		}
		p.targets = append(p.targets, t)
	}
	var err error
	if p.layout, p.plan, err = planned(p.shop, p.vessel, p.options.ask, p.sets().Smallest(1)...); err != nil {
		return err
	}
	// With several sets, a card has to fit the smallest of the targets that
	// get it; how many there are is known only once the cards are.
	if sets := len(p.targets) / max(1, len(p.layout.Cards)); sets > 1 {
		p.layout, p.plan, err = planned(p.shop, p.vessel, p.options.ask, p.sets().Smallest(sets)...)
	}
	return err
}

// sets are the targets, by the bytes that their cards have.
func (p *preparing) sets() (sets media.TargetSets) {
	for _, t := range p.targets {
		sets = append(sets, t.bytes)
	}
	return sets
}

func (p *preparing) nothingToWrite() error {
	if p.session.json {
		p.answer(prepared{Format: 1, Plan: p.plan, Cards: []preparedCard{}})
	} else {
		writePlan(p.session.out, p.shop, p.vessel, p.plan, staysBehind(p.shop, p.vessel, p.options.ask, p.plan), inDoubt(p.session.known[p.vessel.ID]))
		fmt.Fprintln(p.session.out, "No card was written.")
	}
	if c := first([]int{leftOutCode(p.plan), p.laptopCode()}); c != exitDone {
		return &answered{c}
	}
	if p.plan.WayBack {
		return &answered{exitNo}
	}
	return nil
}

// ready does everything that can fail before the first byte is written.
func (p *preparing) ready(ctx context.Context) error {
	cards := len(p.layout.Cards)
	if !p.sets().Whole(cards) {
		return usage(fmt.Errorf("%s needs %s, and %s named: give one --to for each card, in their order",
			p.vessel.Name, counted(cards, "card"), counted(len(p.targets), "target")))
	}
	var err error
	if p.order, err = installOrderText(p.shop, p.vessel, p.plan); err != nil {
		return err
	}
	if err := errors.Join(p.provable(), p.ejectable()); err != nil {
		return err
	}
	for i, t := range p.targets {
		t.job, t.signers = p.job(p.layout.Cards[i%cards]), own(p.shop.Name, p.key)
		if t.kind == folderTarget {
			continue
		}
		if _, err := t.job.Prepare(t.bytes); err != nil {
			return fmt.Errorf("preparing %s: %w", t.path, err)
		}
	}
	if err := p.checkPackages(ctx); err != nil {
		return err
	}
	p.tellLeft()
	for _, t := range p.targets {
		if err := p.guard(ctx, t); err != nil {
			return err
		}
	}
	return nil
}

func (p *preparing) job(c media.Card) media.Job {
	job := media.Job{Layout: p.layout, Card: c, Packages: p.packages, InstallOrder: p.order}
	if p.key != nil {
		job.Sign = p.key.Sign
	}
	return job
}

// checkPackages looks for every package before anything is touched. Where a
// target can't be put back as it was, the packages are also read whole first:
// a wrong one must not cost a card.
func (p *preparing) checkPackages(ctx context.Context) error {
	var total int64
	whole := false
	sources := map[media.Source][]media.Source{} // of each package what goes on cards
	for _, t := range p.targets {
		whole = whole || t.kind != imageTarget
		for _, f := range t.job.Card.Files {
			if err := p.packages.There(f.Source); err != nil {
				return err
			}
			of := f.Source
			of.Member = ""
			if _, err := p.packages.Find(of); err == nil {
				if sources[of] == nil {
					total += of.Size
				}
				sources[of] = append(sources[of], f.Source)
			}
		}
	}
	if !whole {
		return nil
	}
	bar := p.session.bar("checking packages", total)
	defer bar.end()
	for of, onCards := range sources {
		err := p.packages.Check(of, func(n int) { bar.add(int64(n)) })
		if err != nil && !p.packages.Elsewhere(onCards...) {
			return err
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("checking packages, before anything was written: %w", err)
		}
	}
	return nil
}

// write writes all targets: those that get the same card together.
func (p *preparing) write(ctx context.Context) []media.Outcome {
	var total int64
	for _, t := range p.targets {
		for _, f := range t.job.Card.Files {
			total += 2 * f.Size
		}
	}
	bar := p.session.bar("writing", total)
	defer bar.end()
	outcomes := make([]media.Outcome, len(p.targets))
	done := make(chan struct{})
	groups := p.sets().Together(len(p.layout.Cards))
	for _, group := range groups {
		go func() {
			defer func() { done <- struct{}{} }()
			p.writeGroup(ctx, group, outcomes, bar)
		}()
	}
	for range groups {
		<-done
	}
	return outcomes
}

func (p *preparing) writeGroup(ctx context.Context, group []int, outcomes []media.Outcome, bar *bar) {
	job := p.targets[group[0]].job
	job.Progress = func(_ media.Phase, n int64) { bar.add(n) }
	if t := p.targets[group[0]]; t.kind == folderTarget {
		outcomes[group[0]] = job.WriteFolder(ctx, media.FolderTarget{
			Dir: t.path, Beside: p.options.beside, Replace: p.options.loseFiles, Words: commandWords,
			Judge: func(ctx context.Context, r media.Record) error { return t.judgeFolder(ctx, r, p.options.beside, bar) },
		})
		return
	}
	var targets []media.Target
	var written []int
	for _, i := range group {
		t := p.targets[i]
		if t.failed != nil {
			outcomes[i] = media.Outcome{Err: t.failed}
			continue
		}
		written = append(written, i)
		targets = append(targets, media.Target{
			Medium: t.medium,
			Judge: func(ctx context.Context, read io.ReaderAt, r media.Record, digest string) error {
				return t.judge(ctx, read, r, digest, bar)
			},
		})
	}
	for k, outcome := range job.Write(ctx, targets) {
		i := written[k]
		// An image that failed is removed, so it needn't be blank.
		if n, ok := errors.AsType[*media.NotBlank](outcome.Err); ok && p.targets[i].kind == imageTarget {
			outcome.Err = n.Cause
		}
		outcomes[i] = outcome
		if p.targets[i].kind == driveTarget { // held until all is done: release
			outcomes[i].Err = p.targets[i].orPulledOut(outcome.Err)
			continue
		}
		if err := p.targets[i].finish(outcome.Err == nil); err != nil && outcome.Err == nil {
			outcomes[i].Err = err
		}
	}
}

// note notes every proven card in the ledger.
func (p *preparing) note(ctx context.Context, outcomes []media.Outcome) error {
	for i, o := range outcomes {
		t := p.targets[i]
		if o.Err != nil || t.report == nil {
			continue
		}
		seen := record.CardSeen{Shop: p.shop, Vessel: p.vessel, Plan: p.plan, Card: t.job.Card, Target: t.path, Bytes: t.bytes, Report: *t.report}
		if err := noteCard(ctx, p.session, p.shop, p.key, ledger.CardPrepared, p.vessel, seen.Kept()); err != nil {
			return fmt.Errorf("the card is proven, but %w", err)
		}
	}
	return nil
}

// prepared is the answer of prepare in JSON.
type prepared struct {
	Format int            `json:"format"`
	Plan   order.Plan     `json:"plan"`
	Cards  []preparedCard `json:"cards"`
	Error  string         `json:"error,omitempty"` // of all cards: noting them
}

type preparedCard struct {
	Target   string           `json:"target"`
	Card     int              `json:"card"`
	Of       int              `json:"of"`
	Verdict  verify.Verdict   `json:"verdict"` // "" where the card could not be written
	Digest   string           `json:"digest"`
	Written  int64            `json:"bytes_written"`
	Error    string           `json:"error"`
	Capacity *capacity.Result `json:"capacity"` // null where it wasn't asked for
	Report   *verify.Report   `json:"report"`
	Ejected  bool             `json:"ejected,omitempty"`
	Released string           `json:"released,omitempty"` // what did not go well when a drive was given back
}

// conclude tells what became of every target, and of the noting.
func (p *preparing) conclude(ctx context.Context, outcomes []media.Outcome, noting error) error {
	answer := prepared{Format: 1, Plan: p.plan, Cards: []preparedCard{}, Error: told(noting)}
	codes := []int{codeIn(ctx, noting)}
	for i, o := range outcomes {
		t := p.targets[i]
		card := preparedCard{
			Target: t.path, Card: t.job.Card.Number, Of: t.job.Card.Of,
			Digest: o.Digest, Written: o.Written, Report: t.report, Capacity: t.capacity, Ejected: t.ejected,
		}
		c := code(o.Err)
		if o.Err != nil {
			card.Error = o.Err.Error()
		}
		if t.unreleased != nil {
			card.Released = t.unreleased.Error()
		}
		if t.report != nil {
			card.Verdict = t.report.Verdict
			if o.Err == nil && t.report.Verdict == verify.Unchecked {
				c = exitUnchecked
			}
		}
		codes = append(codes, c)
		answer.Cards = append(answer.Cards, card)
		if !p.session.json {
			p.tell(t, o, c)
		}
	}
	if first(codes) == exitDone && !p.session.json {
		p.tellSheets()
		p.tellPart()
	}
	switch {
	case p.session.json:
		p.answer(answer)
	case noting != nil:
		p.session.complain(noting.Error())
	}
	if c := first(append(codes, leftOutCode(p.plan), p.laptopCode())); c != exitDone {
		return &answered{c}
	}
	return nil
}

// laptopCode is exitNo, and tells it, where the shop's laptop lacks files for steps
// that come from no card: the cards are as good as they are, the visit isn't ready.
func (p *preparing) laptopCode() int {
	code := exitDone
	for _, s := range p.plan.Steps {
		for _, err := range media.NotInShop(p.shop, p.vessel, s) {
			p.session.complain(fmt.Sprintf("not ready for step %d, %s, which comes from no card: %v", s.Number, s.Device, err))
			code = exitNo
		}
	}
	return code
}

// tell says what became of one target.
func (p *preparing) tell(t *cardTarget, o media.Outcome, c int) {
	out := p.session.out
	name := fmt.Sprintf("card %d of %d, %s, for %s", t.job.Card.Number, t.job.Card.Of, t.path, p.vessel.Name) + partOf(p.plan)
	switch c {
	case exitDone, exitUnchecked:
		writeReport(out, shownReport{Report: *t.report, title: name, all: true})
		if t.capacity != nil {
			fmt.Fprintln(out, wrapped(t.capacity.Conclusion(), ""))
		}
		if t.kind == driveTarget {
			fmt.Fprintf(out, "\n%s\n\n", wrapped(t.takeOut(), ""))
		}
		fmt.Fprintf(out, "Next, on the dock:\n  %s\n", p.nextCommand(t))
	case exitInterrupted:
		fmt.Fprintf(out, "%s\n%s\n", headed("✗ INTERRUPTED", name), t.leftover(o))
	default:
		fmt.Fprintf(out, "%s\n%s\n%s\n", headed("✗ NOT WRITTEN", name), wrapped(o.Err.Error(), ""), t.leftover(o))
		if t.report != nil {
			writeFindings(out, t.report.Findings, true)
		}
	}
}

// nextCommand is what is typed on the dock.
func (p *preparing) nextCommand(t *cardTarget) string {
	words := []string{"cardwright verify", media.ShellWord(t.path), "--for", p.vessel.ID}
	for _, flag := range p.session.flags(p.options.ask) {
		words = append(words, media.ShellWord(flag))
	}
	if t.job.Card.Of > 1 {
		return strings.Join(words, " ") // its order would prove no other card: tellSheets
	}
	return strings.Join(append(words, "--order install-order.txt"), " ")
}

// tellSheets tells how the order of several cards is had, once for each set.
func (p *preparing) tellSheets() {
	of := len(p.layout.Cards)
	if of < 2 {
		return
	}
	fmt.Fprintf(p.session.out, "\nAnd then, for the order of %s:\n", counted(of, "card"))
	for set, file := 0, "install-order.txt"; set < len(p.targets)/of; set++ {
		var cards []string
		for _, t := range p.targets[set*of : (set+1)*of] {
			cards = append(cards, t.path)
		}
		fmt.Fprintf(p.session.out, "  %s --output %s\n", p.session.sheetCommand(p.vessel, p.options.ask, cards), file)
		file = fmt.Sprintf("install-order-%d.txt", set+2)
	}
}

// tellPart says why good cards don't end with 0: they are not the whole work.
func (p *preparing) tellPart() {
	if c := leftOutCode(p.plan); c != exitDone {
		cards := "The card is good, but it is"
		if len(p.layout.Cards) > 1 {
			cards = "The cards are good, but they are"
		}
		text := fmt.Sprintf("%s a part: exit code %d. Left out: %s. Why: cardwright plan %s", cards, c, strings.Join(leftDevices(p.plan), ", "), p.vessel.ID)
		fmt.Fprintf(p.session.text(), "\n%s\n", wrapped(text, "  "))
	}
}

func (p *preparing) close() {
	for _, t := range p.targets {
		if t.medium != nil {
			if err := t.finish(false); err != nil {
				fmt.Fprintf(p.session.errs, "cardwright: closing %s: %v\n", visible.Visible(t.path), err)
			}
		}
	}
}
