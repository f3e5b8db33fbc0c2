package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/media/intake/adding"
)

// packageOptions is what is said of a download, and of a release that is new.
type packageOptions struct {
	adding.Said
	version string
	ask     bool
}

// addFileFlags are the flags that name a file of the catalogue.
func (o *packageOptions) addFileFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&o.Model, "model", "", "`MODEL` that it is for")
	flags.StringVar(&o.version, "version", "", "`VERSION` that it is")
	flags.StringVar(&o.Variant, "variant", "", "`VARIANT` that it is for: a region or a language")
}

// addDownloadFlags are the flags of what is said of a download.
func (o *packageOptions) addDownloadFlags(cmd *cobra.Command) {
	o.addFileFlags(cmd)
	flags := cmd.Flags()
	flags.StringVar(&o.Name, "name", "", "`NAME` on the card (default: that of the download)")
	flags.StringVar(&o.Member, "member", "", "`FILE` inside a zip that is the package")
	flags.BoolVar(&o.Unpack, "unpack", false, "the device wants what is inside the zip")
	flags.StringVar(&o.SHA256, "sha256", "", "SHA-256 `DIGEST` got elsewhere, to compare with (needs --from)")
	flags.StringVar(&o.From, "from", "", "`WHERE` the digest or the download was got; maker: from its maker; without a download: a table (CSV) of them")
	flags.StringVar(&o.List, "digests", "", "list of digests: `FILE` (default: one that lies beside the download)")
	flags.StringVar(&o.SigningKey, "signing-key", "", "the maker's public `KEY` (default: signing_key in the catalogue)")
	flags.StringVar(&o.ReplaceKey, "replace-key", "", "`WHY` --signing-key takes the place of the catalogue's signing_key")
	flags.StringArrayVar(&o.Touch, "touch", nil, "the `FILE`, of several, that a person touches on the device; may be repeated")
}

// addReleaseFlags are the flags of what a maker says of a release.
func (o *packageOptions) addReleaseFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&o.Released, "released", "", "`DAY` of release, of a release that is new to the catalogue: 2026-03-02")
	flags.StringVar(&o.Over, "over", "", "what the device must run before it: `VERSIONS` such as \">= 3.0\"")
	flags.StringVar(&o.PassedOnBy, "passed-on-by", "", "what the device that passes it on must run: `VERSIONS` such as \">= 4.0\"")
	flags.StringArrayVar(&o.Needs, "needs", nil, "what another model must run: `NEED` such as \"fennick-sweep-2 >= 1.8\"; may be repeated")
	flags.StringVar(&o.Minutes, "minutes", "", "how many `MINUTES` the installation takes")
	flags.StringVar(&o.WayBack, "way-back", "", "whether the maker gives a way back to an older release: `true|false`")
	flags.StringVar(&o.BackTo, "back-to", "", "the older releases that the way back leads to: `VERSIONS` such as \">= 3.5\"")
	flags.StringVar(&o.BackSettings, "back-settings", "", "what going back does to the device's settings: `kept|lost`")
	flags.StringVar(&o.Settings, "settings", "", "what becomes of the device's settings: `kept|lost`")
	flags.StringArrayVar(&o.After, "after", nil, "`CHECK` to redo after the update; may be repeated")
	flags.StringVar(&o.Notes, "notes", "", "anything worth knowing before installing it, as `TEXT`")
}

// check refuses flags with wrong values or that don't go together.
func (o *packageOptions) check() error {
	for _, f := range []struct{ flag, key, text string }{
		{"--model", "Device.model", o.Model},
		{"--version", "Release.version", o.version},
		{"--variant", "Release.variant", o.Variant},
		{"--name", "File.name", o.Name},
		{"--sha256", "File.sha256", o.SHA256},
		{"--from", "File.from", o.From},
		{"--signing-key", "Model.signing_key", o.SigningKey},
		{"--replace-key", "PastKey.why", o.ReplaceKey},
		{"--released", "Release.released", o.Released},
		{"--over", "Release.over", o.Over},
		{"--passed-on-by", "Release.passed_on_by", o.PassedOnBy},
		{"--minutes", "Release.minutes", o.Minutes},
		{"--way-back", "Release.way_back", o.WayBack},
		{"--back-to", "Release.back_to", o.BackTo},
		{"--back-settings", "Release.back_settings", o.BackSettings},
		{"--settings", "Release.settings", o.Settings},
		{"--notes", "Release.notes", o.Notes},
	} {
		if f.text == "" {
			continue
		}
		if m := manifest.Problem(f.key, f.text); m != nil {
			return fmt.Errorf("%s: %s: found %s, expected %s%s", f.flag, m.What, m.Found, m.Expected, tryIt(m.Advice))
		}
	}
	switch {
	case (o.Model == "") != (o.version == "") && o.Member == "":
		return errors.New("--model and --version go together")
	case o.SHA256 != "" && o.From == "":
		return errors.New("say with --from where the digest was got: maker, or a few words")
	case o.ReplaceKey != "" && o.SigningKey == "":
		return errors.New("give with --signing-key the key that takes the place of the catalogue's")
	case o.BackTo+o.BackSettings != "" && o.WayBack != "true":
		return errors.New("--back-to and --back-settings speak of a way back: give --way-back true with them, if the maker gives one")
	case o.Member != "" && o.Unpack:
		return errors.New("either --member, for one file of the zip, or --unpack, for all")
	}
	if o.version != "" {
		o.Version, _ = version.Parse(o.version) // Problem has checked it
	}
	return nil
}
