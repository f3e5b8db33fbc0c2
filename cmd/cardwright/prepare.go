package main

import (
	"context"
	"errors"
	"fmt"

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
	"cardwright/verify/prepare"
	"cardwright/verify/visible"
)

// prepareOptions are the flags of prepare.
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
	o.addFlags(cmd)
	return cmd
}

func (o *prepareOptions) addFlags(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&o.to, "to", nil, "write to this `TARGET`: an image file, a drive or a mounted folder; may be repeated")
	o.addTargetFlags(cmd)
	o.key.addFlag(cmd)
	o.ask.addFlags(cmd)
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

// preparing is one run of prepare, or of a repair.
type preparing struct {
	session  *session
	options  prepareOptions
	shop     *manifest.Shop
	vessel   *manifest.Vessel
	packages media.Packages
	key      *keys.Key      // nil: records aren't signed
	answer   func(prepared) // takes the answer where JSON is asked for
}

func runPrepare(ctx context.Context, s *session, o prepareOptions, id string) error {
	shop, vessel, err := s.vesselToJudge(id)
	if err != nil {
		return err
	}
	writeOpen(s.errs, &s.terminal, vessel, s.known[vessel.ID])
	ranBefore(vessel, s.known[vessel.ID], &o.ask)
	p := preparing{session: s, options: o, shop: shop, vessel: vessel, packages: media.PackagesOf(shop), answer: func(a prepared) { s.writeJSON(a) }}
	return p.run(ctx)
}

// run writes and proves the cards.
func (p *preparing) run(ctx context.Context) error {
	job, err := p.job()
	if err != nil {
		return err
	}
	laid, err := job.Lay(ctx)
	if err != nil {
		return err
	}
	if laid.NeedsNoCard() {
		return p.nothingToWrite(laid.Plan)
	}
	if p.key, err = p.options.key.signingIfKnown(p.session, "the cards are not signed, and not noted in the ledger"); err != nil {
		return err
	}
	run, err := laid.Begin(ctx, signing(p.shop, p.key))
	if err != nil {
		return err
	}
	defer p.close(run)
	p.tellLeft(run)
	for _, t := range run.Targets {
		if err := p.open(ctx, run, t); err != nil {
			return err
		}
	}
	run.Prove(ctx)
	run.Write(ctx)
	noting := p.note(ctx, run)
	run.Release()
	return p.conclude(ctx, run, noting)
}

// job is the run as the flags ask for it.
func (p *preparing) job() (prepare.Job, error) {
	o := p.options
	if len(o.to) == 0 {
		return prepare.Job{}, usage(errors.New("name where the card goes with --to: an image file, a drive or a mounted folder"))
	}
	if o.saveFirst != "" {
		if err := place.MayMake(o.saveFirst); err != nil {
			return prepare.Job{}, usage(fmt.Errorf("--save-first %w", err))
		}
	}
	form := capacity.Form(o.capacity)
	if form != "" && form != capacity.Full && form != capacity.Quick {
		return prepare.Job{}, usage(fmt.Errorf("--prove-capacity=%s: expected %s or %s", form, capacity.Full, capacity.Quick))
	}
	visit, err := o.ask.ask()
	return prepare.Job{
		Shop: p.shop, Vessel: p.vessel, Visit: visit, Packages: p.packages, To: o.to, Size: o.size,
		Agreed: prepare.Agreed{Yes: p.session.yes, LoseFiles: o.loseFiles, SaveFirst: o.saveFirst, Erase: o.erase},
		Beside: o.beside, Eject: o.eject, Capacity: form,
		InstallOrder: func(plan order.Plan) ([]byte, error) { return installOrderText(p.shop, p.vessel, plan) },
		Kept:         func(path string) bool { return isShops(p.shop, path) },
		Holds:        func(ctx context.Context, on verify.Listing) string { return holds(ctx, p.shop, on) },
		Commands:     cardCommands("TARGET", media.ShellWord(p.vessel.ID), nil, 0),
		Words:        commandWords, Watch: p.session.watchPhases, Drives: prepare.Computer{},
	}, err
}

// signing is how cards are signed by a key; nil signs none.
func signing(shop *manifest.Shop, key *keys.Key) prepare.Signing {
	if key == nil {
		return prepare.Signing{}
	}
	return prepare.Signing{Sign: key.Sign, Trusts: []*manifest.Trust{{Shop: shop.Name, Key: key.Public()}}}
}

// note notes every proven card in the ledger.
func (p *preparing) note(ctx context.Context, run *prepare.Run) error {
	for _, t := range run.Targets {
		if t.Outcome.Err != nil || t.Report == nil {
			continue
		}
		seen := record.CardSeen{Shop: p.shop, Vessel: p.vessel, Plan: run.Plan, Card: t.Card, Target: t.Path, Bytes: t.Bytes, Report: *t.Report}
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

func preparedOf(t *prepare.Target) preparedCard {
	card := preparedCard{
		Target: t.Path, Card: t.Card.Number, Of: t.Card.Of, Digest: t.Outcome.Digest, Written: t.Outcome.Written,
		Report: t.Report, Capacity: t.Capacity, Ejected: t.Ejected,
	}
	if t.Outcome.Err != nil {
		card.Error = t.Outcome.Err.Error()
	}
	if t.Unreleased != nil {
		card.Released = t.Unreleased.Error()
	}
	if t.Report != nil {
		card.Verdict = t.Report.Verdict
	}
	return card
}

// conclude reports the outcome of every target, and of the noting.
func (p *preparing) conclude(ctx context.Context, run *prepare.Run, noting error) error {
	answer := prepared{Format: 1, Plan: run.Plan, Cards: []preparedCard{}, Error: told(noting)}
	codes := []int{codeIn(ctx, noting)}
	for _, t := range run.Targets {
		answer.Cards = append(answer.Cards, preparedOf(t))
		codes = append(codes, targetCode(t))
		if !p.session.json {
			p.tell(run, t)
		}
	}
	if first(codes) == exitDone && !p.session.json {
		p.tellSheets(run)
		p.tellPart(run)
	}
	switch {
	case p.session.json:
		p.answer(answer)
	case noting != nil:
		p.session.complain(noting.Error())
	}
	lacks := media.LaptopLacks(p.shop, p.vessel, run.Plan)
	p.tellLaptopLacks(lacks)
	return endWith(first(append(codes, leftOutCode(run.Plan), laptopCode(lacks))))
}

func (p *preparing) close(run *prepare.Run) {
	if err := run.Close(); err != nil {
		fmt.Fprintln(p.session.errs, "cardwright: "+visible.Visible(err.Error()))
	}
}
