package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/media/place"
)

type initOptions struct {
	name, call string
	ask        bool
}

func newInitCommand(s *session) *cobra.Command {
	var o initOptions
	cmd := &cobra.Command{
		Use:   "init [FOLDER]",
		Short: "Make a shop folder",
		Long: `init makes a shop folder: shop.yaml, and empty folders for the catalogue, the vessels
and the packages. It also writes schema/, from which editors complete keys, and
schema/KEYS.md, which explains them.

In a folder that is a shop folder already, only the schemas are written anew.`,
		Example: `  cardwright init --name 'Hollin Quay Marine Electrics'`,
		Args:    atMostOne("folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := s.shopDir
			if len(args) == 1 {
				dir = args[0]
			}
			return runInit(interruptible(cmd), s, o, dir)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.name, "name", "", "`NAME` of the shop")
	flags.StringVar(&o.call, "call", "", "`WHOM` to call when a step fails, and how")
	flags.BoolVar(&o.ask, "ask", false, askFlag)
	return cmd
}

func runInit(ctx context.Context, s *session, o initOptions, dir string) error {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return fmt.Errorf("making the shop folder: %w", err)
	}
	if err := place.MayMake(filepath.Join(dir, manifest.ShopFile)); err != nil {
		return usage(fmt.Errorf("making the shop folder: %w", err))
	}
	if _, err := os.Lstat(filepath.Join(dir, manifest.ShopFile)); err == nil {
		return renewSchemas(&s.terminal, dir, o)
	}
	a := s.asking(ctx, o.ask, o.name != "")
	if o.name, err = a.must(o.name, "--name", "Shop.shop", ""); err != nil {
		return err
	}
	if o.call, err = a.value(o.call, "--call", "Shop.call", ""); err != nil {
		return err
	}
	file, err := edit.New(dir, manifest.ShopFile, []string{edit.SchemaComment(manifest.ShopFile), "Every key: " + schemaFolder + "/KEYS.md"}, edit.Map{
		{Key: "shop", Value: o.name},
		{Key: "packages", Value: "packages"},
		{Key: "ledger", Value: "ledger.db"},
		{Key: "call", Value: orNone(o.call)},
	})
	if err != nil {
		return err
	}
	for _, folder := range []string{manifest.CatalogueFolder, manifest.VesselsFolder, "packages"} {
		if err := os.MkdirAll(filepath.Join(dir, folder), 0o755); err != nil {
			return fmt.Errorf("making the shop folder: %w", err)
		}
	}
	if err := writeSchemas(dir); err != nil {
		return err
	}
	if err := edit.Save(dir, file); err != nil {
		return err
	}
	s.wrote("shop folder made: "+dir, "cardwright model add", manifest.ShopFile, schemaFolder+"/KEYS.md")
	return nil
}

// orNone leaves a key out where there is nothing to say.
func orNone(text string) edit.Value {
	if text == "" {
		return nil
	}
	return text
}

// wrote says what a command wrote.
func (t *terminal) wrote(done, next string, files ...string) {
	if t.json {
		t.writeJSON(struct {
			Format int      `json:"format"`
			Done   string   `json:"done"`
			Files  []string `json:"files"`
		}{1, done, files})
		return
	}
	fmt.Fprintf(t.out, "✓ %s\n", lines(done))
	for _, f := range files {
		fmt.Fprintf(t.out, "  %s\n", lines(f))
	}
	if next != "" {
		fmt.Fprintf(t.text(), "Next: %s\n", next)
	}
}
