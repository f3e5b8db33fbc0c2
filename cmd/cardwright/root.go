package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/media/place"
)

// session is what all commands of one run share: who is at the other end, and what
// was asked of the ledger.
type session struct {
	terminal
	ledgerAsked

	by        string            // --by
	elsewhere manifest.Mistakes // in files that the work doesn't need
}

func newRootCommand(s *session) *cobra.Command {
	root := &cobra.Command{
		Use:   "cardwright",
		Short: "Prepare, prove and account for the update cards of a vessel's devices",
		Long: `cardwright finds which releases a vessel's devices should run and in which order to
install them, puts exactly those packages on a memory card, proves the card by reading
it back, and prints the install order.

A device that loses power while it writes its own software may not start again: work
alongside, on a steady supply, with a look-out kept. The maker's instructions come
before anything that cardwright prints.

Exit codes:
  0    done; nothing to do, too
  1    could not do it
  2    bad usage, or a mistake in a file of the shop folder
  3    the answer is no: no safe order, a bad card, a read-back that differs
  4    could not be fully checked
  130  interrupted`,
		Example: `  cardwright init --name 'Hollin Quay Marine Electrics'
  cardwright plan kittiwake
  cardwright readers
  cardwright prepare kittiwake --to DRIVE
  cardwright verify DRIVE --for kittiwake --order install-order.txt
  cardwright record kittiwake`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       "told by versionText",
	}
	cobra.AddTemplateFunc("versionText", versionText)
	root.SetVersionTemplate("{{versionText}}")
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.errs)
	root.CompletionOptions.HiddenDefaultCmd = true
	flags := root.PersistentFlags()
	flags.StringVar(&s.shopDir, "shop", "", "shop folder: `DIR` (default: this folder or the nearest above with shop.yaml)")
	flags.BoolVar(&s.json, "json", false, "answer in JSON, for programs")
	flags.StringVar(&s.by, "by", "", "`WHO` does the work, for the ledger (default: the user of this computer)")
	flags.BoolVar(&s.yes, "yes", false, "do not ask before doing what was asked for")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage(err) })
	addGroup(root, "The shop's files", newInitCommand(s), newModelCommand(s), newPackageCommand(s), newVesselCommand(s), newSurveyCommand(s), newShopCommand(s))
	addGroup(root, "Plans and cards", newPlanCommand(s), newReadersCommand(s), newPrepareCommand(s), newVerifyCommand(s), newSheetCommand(s))
	addGroup(root, "What was done", newRecordCommand(s), newSeatrialCommand(s), newDeviceCommand(s), newCardCommand(s), newAuditCommand(s))
	addGroup(root, "The ledger, keys and other laptops", newLedgerCommand(s), newKeyCommand(s), newSyncCommand(s))
	setHelp(root)
	root.Args = cobra.ArbitraryArgs // group tells of one that is no command
	for _, cmd := range append(root.Commands(), root) {
		if cmd.HasSubCommands() && !cmd.Runnable() {
			cmd.DisableFlagsInUseLine = true
			cmd.RunE = func(cmd *cobra.Command, args []string) error { return group(cmd, args, s.json) }
		}
	}
	s.commands = namedCommands(root)
	return root
}

// group answers where the first word of a command was typed and no second one, or
// one that there isn't.
func group(cmd *cobra.Command, args []string, json bool) error {
	var names []string
	for _, sub := range cmd.Commands() {
		if sub.IsAvailableCommand() {
			names = append(names, sub.Name())
		}
	}
	switch {
	case len(args) > 0:
		return usage(fmt.Errorf("unknown command %q for %q%s", args[0], cmd.CommandPath(), tryIt(or(manifest.Nearest(args[0], names), "one of "+strings.Join(names, ", ")))))
	case json:
		return usage(fmt.Errorf("expected one of %s, found none", strings.Join(names, ", ")))
	}
	return cmd.Help()
}

// exactly is cobra.ExactArgs with an exit code and the right usage.
func exactly(n int, what string) cobra.PositionalArgs { return between(n, n, what) }

// atMostOne and several are for commands that take none or one, or one or more.
func atMostOne(what string) cobra.PositionalArgs { return between(0, 1, "at most one "+what) }
func several(what string) cobra.PositionalArgs   { return between(1, math.MaxInt, what) }

func between(least, most int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least || len(args) > most {
			found := "none"
			if len(args) > 0 {
				found = counted(len(args), "argument")
			}
			return usage(fmt.Errorf("expected %s, found %s\nusage: %s", what, found, cmd.UseLine()))
		}
		return nil
	}
}

// shop loads the shop folder.
func (s *session) shop() (*manifest.Shop, error) {
	dir, err := s.shopFolder()
	if err != nil {
		return nil, err
	}
	return manifest.Load(dir)
}

// shopFolder is the one that was named, or the nearest.
func (s *session) shopFolder() (string, error) {
	dir := s.shopDir
	if dir == "" {
		found, err := manifest.FindShop(".")
		if err != nil {
			return "", usage(err)
		}
		dir = found
	}
	if err := place.MayMake(filepath.Join(dir, manifest.ShopFile)); err != nil {
		return "", usage(fmt.Errorf("loading the shop folder: %w", err)) // commands keep what they write there
	}
	return filepath.Clean(dir), nil
}

// shopFor loads the shop folder for work on one vessel. A mistake in a file that
// doesn't concern it is told, and stops nothing.
func (s *session) shopFor(vessel string) (*manifest.Shop, error) {
	dir, err := s.shopFolder()
	if err != nil {
		return nil, err
	}
	shop, elsewhere, err := manifest.LoadFor(dir, vessel, nil)
	s.elsewhere = elsewhere
	if n := len(elsewhere); n > 0 {
		concerns := "None of it concerns " + vessel + "; the work goes on."
		if vessel == "" {
			concerns = "The vessels that it concerns are left out."
		}
		s.complain(elsewhere.Error() + "\n\n" + concerns)
	}
	return shop, err
}

// shopIfAny loads the shop folder that was named or that there is, for commands
// that can do without one; nil where there is none.
func (s *session) shopIfAny() (*manifest.Shop, error) {
	if s.shopDir == "" {
		if _, err := manifest.FindShop("."); err != nil {
			return nil, nil
		}
	}
	return s.shop()
}

// vessel loads the shop folder and finds one vessel in it, as files and ledger
// know it.
func (s *session) vessel(id string) (*manifest.Shop, *manifest.Vessel, error) {
	shop, vessel, err := s.vesselToJudge(id)
	if err == nil {
		err = s.unasked
	}
	return shop, vessel, err
}

// vesselToJudge is vessel for commands whose answer is a card's verdict: where the
// ledger can't be asked they judge all the same, and noteCard says that it
// couldn't.
func (s *session) vesselToJudge(id string) (*manifest.Shop, *manifest.Vessel, error) {
	shop, err := s.shopFor(id)
	if err != nil {
		return nil, nil, err
	}
	vessel, err := vesselCalled(shop, id)
	if err != nil {
		return nil, nil, err
	}
	if err := refuseUnsettled(shop, vessel); err != nil {
		return nil, nil, err
	}
	learnIfAny(context.Background(), s, shop, vessel)
	return shop, vessel, nil
}

// vesselCalled finds the one vessel that a word means.
func vesselCalled(shop *manifest.Shop, word string) (*manifest.Vessel, error) {
	found := shop.VesselsCalled(word)
	var words []string
	for _, v := range shop.Vessels {
		words = append(words, v.ID, v.Name)
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		var ids []string
		for _, v := range found {
			ids = append(ids, v.ID)
		}
		return nil, usage(fmt.Errorf("%d vessels are called %q: say which by its id: %s", len(found), word, strings.Join(ids, ", ")))
	}
	return nil, usage(fmt.Errorf("no vessel %q in %s%s; there are: %s", word, shop.Dir, tryIt(or(manifest.Nearest(word, words), onlyOneThatBegins(shop, word))), vesselIDs(shop)))
}

// onlyOneThatBegins is the vessel whose id or name begins so, where there is one only.
func onlyOneThatBegins(shop *manifest.Shop, word string) (id string) {
	for _, v := range shop.Vessels {
		begins := func(name string) bool { return strings.HasPrefix(edit.ID(name), edit.ID(word)) }
		if edit.ID(word) == "" || !begins(v.ID) && !begins(v.Name) {
			continue
		}
		if id != "" {
			return ""
		}
		id = v.ID
	}
	return id
}

// mostNamed is how many vessels, or drives, an error names.
const mostNamed = 20

func vesselIDs(shop *manifest.Shop) string {
	var ids []string
	for _, v := range shop.Vessels {
		ids = append(ids, v.ID)
	}
	return or(namedFew(ids, ", "), "none")
}

// namedFew is a list of names, and how many more there are than an error names.
func namedFew(names []string, between string) string {
	if more := len(names) - mostNamed; more > 0 {
		return strings.Join(names[:mostNamed], between) + between + fmt.Sprintf("and %d more", more)
	}
	return strings.Join(names, between)
}

// vesselsNamed are the vessels with these ids or names, or all.
func vesselsNamed(shop *manifest.Shop, ids []string) ([]*manifest.Vessel, error) {
	if len(ids) == 0 {
		return shop.Vessels, nil
	}
	var all []*manifest.Vessel
	for _, id := range ids {
		v, err := vesselCalled(shop, id)
		if err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, nil
}

// interruptible is the context of a command that cobra was given.
func interruptible(cmd *cobra.Command) context.Context { return cmd.Context() }
