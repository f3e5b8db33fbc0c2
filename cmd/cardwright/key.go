package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"github.com/spf13/cobra"

	"cardwright/manifest/edit"
	"cardwright/media/keys"
	"cardwright/verify/visible"
)

type keyOptions struct{ file string }

func (o *keyOptions) addFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.file, "key", "", "`FILE` of the signing key (default: in your own settings folder)")
}

// place is where the key file is.
func (o keyOptions) place() (string, error) {
	if o.file != "" {
		return o.file, nil
	}
	path, err := keys.Place()
	if err != nil {
		err = fmt.Errorf("%w: name its file with --key", err)
	}
	return path, err
}

func newKeyCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "Make or show the key that signs this shop's cards",
		Long: `A signed record shows on the dock which shop made a card, and that its record is
unaltered, without a vessel being named. Every shop that is to believe it lists the
public key under trusts: in its shop.yaml. The same key signs the ledger's events.

A signature says who made a card. It can't tell the card from a byte-for-byte copy.`,
		Example: `  cardwright key new
  cardwright key show`,
	}
	cmd.AddCommand(newKeyNewCommand(s), newKeyShowCommand(s))
	return cmd
}

func newKeyNewCommand(s *session) *cobra.Command {
	var o keyOptions
	cmd := &cobra.Command{
		Use:     "new",
		Short:   "Make a signing key; one that is there is never replaced",
		Long:    `new makes a signing key for this computer. It never replaces one that is there.`,
		Example: `  cardwright key new`,
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runKeyNew(interruptible(cmd), s, o)
		},
	}
	o.addFlag(cmd)
	return cmd
}

func runKeyNew(_ context.Context, s *session, o keyOptions) error {
	path, err := o.place()
	if err != nil {
		return err
	}
	key, err := keys.New(path)
	if _, there := errors.AsType[*keys.There](err); there {
		return fmt.Errorf("%w; show it with cardwright key show", err)
	}
	if errors.Is(err, keys.ErrOthersRead) {
		return fmt.Errorf("%w with --key", err)
	}
	if err != nil {
		return err
	}
	s.showKey(path, key)
	if !s.json {
		fmt.Fprintf(s.errs, "The key is in %s.\n", visible.Visible(path))
		fmt.Fprintln(s.errs, "Keep a copy where only you can read it: whoever has it can sign as your shop.")
	}
	return nil
}

func newKeyShowCommand(s *session) *cobra.Command {
	var o keyOptions
	cmd := &cobra.Command{
		Use:   "show",
		Short: "Show the public key, as it goes into shop.yaml",
		Long: `show prints the lines for trusts: in shop.yaml of every shop that is to believe your
cards.`,
		Example: `  cardwright key show`,
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runKeyShow(interruptible(cmd), s, o)
		},
	}
	o.addFlag(cmd)
	return cmd
}

func runKeyShow(_ context.Context, s *session, o keyOptions) error {
	path, err := o.place()
	if err != nil {
		return err
	}
	key, err := keys.Load(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no key at %s: make one with cardwright key new", path)
	}
	if err != nil {
		return err
	}
	s.showKey(path, key)
	return nil
}

func (s *session) showKey(path string, key keys.Key) {
	if s.json {
		s.writeJSON(struct {
			Format int    `json:"format"`
			File   string `json:"file"`
			Public string `json:"public"`
		}{1, path, key.Public()})
		return
	}
	name := "YOUR SHOP'S NAME"
	if shop, err := s.shop(); err == nil {
		name = shop.Name
	}
	fmt.Fprintf(s.out, "trusts:\n  - shop: %s\n    key: %s\n", edit.Scalar(name), key.Public())
}

// signing is the key that signs cards and events; nil where none was made.
func (o keyOptions) signing() (*keys.Key, error) {
	path, err := o.place()
	if err != nil {
		return nil, err
	}
	key, err := keys.Load(path)
	if o.file == "" && (errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR)) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &key, nil
}

// signingIfKnown is signing where there is work that a key isn't needed for: it
// isn't refused because the place of the key is unknown; that is reported.
func (o keyOptions) signingIfKnown(s *session, without string) (*keys.Key, error) {
	key, err := o.signing()
	if errors.Is(err, keys.ErrNoPlace) {
		s.complain(err.Error() + "; " + without)
		return nil, nil
	}
	return key, err
}

// ledgerKey is the key that signs events; without one nothing can be noted.
func (o keyOptions) ledgerKey() (*keys.Key, error) {
	key, err := o.signing()
	if err == nil && key == nil {
		err = fmt.Errorf("events are signed, and there is no key yet: make one with cardwright key new")
	}
	return key, err
}
