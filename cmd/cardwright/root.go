package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
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
	root.Args = cobra.ArbitraryArgs // group reports one that is no command
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

// interruptible is the context of a command that cobra was given.
func interruptible(cmd *cobra.Command) context.Context { return cmd.Context() }
