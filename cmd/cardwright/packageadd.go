package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/media/intake/adding"
	"cardwright/verify/visible"
)

func newPackageCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "package", Short: "Take in, list and check the packages that makers publish"}
	cmd.AddCommand(newPackageAddCommand(s), newPackageReplaceCommand(s), newPackageRemoveCommand(s),
		newPackageListCommand(s), newPackageCheckCommand(s), newFetchListCommand(s))
	return cmd
}

func newPackageAddCommand(s *session) *cobra.Command {
	var o packageOptions
	cmd := &cobra.Command{
		Use:   "add FILE… | add --from TABLE",
		Short: "Take downloads in, and write them to the catalogue",
		Long: `add finds out what a download is, copies it into the package folder, and writes it to
the catalogue. A download that is cut short, or isn't what its maker published, is
refused, with the reason.

Who vouches for the download is written down as its trust:

  maker   a list of digests (SHA256SUMS, FILE.sha256, …) or a minisign
          signature beside the download, or --sha256 with --from maker
  second  a second source: --sha256 with --from WHERE
  ours    nobody else

Lists of any form are read. A list that contradicts the download refuses it; a list
that leaves it out is named. Where the catalogue has the maker's signing_key, a list
is the maker's only if that key signed it.

--from without a download takes a table (CSV), a row for each download. It must have
the columns file, model and version, and can have:

  variant, released, over, needs, passed_on_by, minutes, way_back,
  back_to, back_settings, settings, after, touch, notes, name, member,
  unpack, sha256, from

Where a cell has several needs or checks put / between them. Every row is checked and
every download read before anything is taken in.

From a zip the package inside is taken, where the catalogue knows it or --member names
it. --unpack is for devices that want the contents of the zip on the card.`,
		Example: `  cardwright package add downloads/plot12-4.0.upd
  cardwright package add --from releases.csv`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				table, err := o.tableAlone(cmd)
				if err != nil {
					return err
				}
				return runPackageTable(interruptible(cmd), s, table)
			}
			return runPackageAdd(interruptible(cmd), s, o, args)
		},
	}
	o.addDownloadFlags(cmd)
	cmd.Flags().BoolVar(&o.Several, "another-file", false, "the release has several files, and this is one more")
	o.addReleaseFlags(cmd)
	cmd.Flags().BoolVar(&o.ask, "ask", false, askFlag)
	return cmd
}

// tableAlone is the table that tells a command everything, where no download does.
func (o packageOptions) tableAlone(cmd *cobra.Command) (string, error) {
	only := packageOptions{Said: adding.Said{Request: intake.Request{From: o.From}}}
	switch {
	case o.From == "":
		return "", usage(fmt.Errorf("expected downloads, or --from with a table of them\nusage: %s", cmd.UseLine()))
	case !reflect.DeepEqual(o, only):
		return "", usage(errors.New("--from with a table takes no other flag: the table says everything"))
	}
	return o.From, nil
}

func runPackageAdd(ctx context.Context, s *session, o packageOptions, paths []string) error {
	if err := o.check(); err != nil {
		return usage(err)
	}
	answer := addedAll{Format: 1, Files: []adding.Added{}}
	var codes []int
	for _, path := range paths {
		a, err := takeIn(ctx, s, o, path)
		if code(err) == exitUsage || len(paths) == 1 && !is[*intake.Refused](err) && err != nil {
			return err
		}
		if err != nil {
			a.Error = err.Error()
		}
		codes = append(codes, code(err))
		answer.Files = append(answer.Files, a)
		if !s.json {
			tellAdded(s.text(), a, err)
		}
		if ctx.Err() != nil {
			break
		}
	}
	if s.json {
		s.writeJSON(answer)
	}
	return endWith(first(codes))
}

// addedAll is the answer of package add in JSON.
type addedAll struct {
	Format int            `json:"format"`
	Files  []adding.Added `json:"files"`
}

// packageShop is the shop that packages are added to.
func (s *session) packageShop() adding.Shop {
	return adding.Shop{
		Load: s.shop, Today: time.Now(), Words: commandWords,
		Watch: func(doing, path string, bytes int64) (func(int64), func()) {
			b := s.bar(doing+" "+filepath.Base(path), bytes)
			return b.add, b.end
		},
		Waits: func() { s.complain("somebody else is adding a package: waiting until they are done") },
	}
}

// mostAgain is how often one download is examined again because somebody else changed
// the catalogue meanwhile.
const mostAgain = 5

// takeIn takes one download in, and asks at a terminal what nobody has said of it.
func takeIn(ctx context.Context, s *session, o packageOptions, path string) (adding.Added, error) {
	o.Path = path
	d := adding.NewDownload(s.packageShop(), o.Said)
	ask := s.asking(ctx, o.ask, false)
	err := adding.ErrAgain
	for i := 0; i < mostAgain && errors.Is(err, adding.ErrAgain); i++ {
		if err = d.Examine(ctx); err != nil {
			break
		}
		if err = ask.about(ctx, d); err != nil {
			break
		}
		err = d.Take(ctx)
	}
	return d.Added, err
}

// about asks what is open about a download, where somebody is there to ask.
func (a *asking) about(ctx context.Context, d *adding.Download) error {
	for {
		q, open := d.Next()
		if !open || a.in == nil {
			return nil
		}
		if q.Told != "" {
			a.say("%s", q.Told)
		}
		if err := a.until(q, func(said string) error { return d.Answer(ctx, q, said) }); err != nil {
			return err
		}
	}
}

// until asks a question until an answer is accepted.
func (a *asking) until(q adding.Question, answer func(said string) error) error {
	for {
		said, err := a.question(q)
		if err != nil {
			return err
		}
		if err = answer(said); !is[*adding.Again](err) {
			return err
		}
		a.say("%v", err)
	}
}

// question asks one question.
func (a *asking) question(q adding.Question) (string, error) {
	switch {
	case q.YesNo:
		yes, err := a.yes(q.Ask, q.Usual == "yes")
		return map[bool]string{true: "yes", false: "no"}[yes], err
	case q.Field != "":
		return a.line(asks(q.Field), q.Usual)
	}
	return a.line(q.Ask, q.Usual)
}

// trustWords say what vouches for a file.
var trustWords = map[string]string{
	manifest.TrustMaker:  "the maker's digest",
	manifest.TrustSecond: "a second source",
	manifest.TrustOurs:   "only ours: nobody else vouches for these bytes",
	"":                   "not said in the catalogue",
}

// tellAdded says what became of one download.
func tellAdded(w io.Writer, a adding.Added, err error) {
	if r, ok := errors.AsType[*intake.Refused](err); ok {
		fmt.Fprintf(w, "✗ NOT TAKEN: %s: %s\n", visible.Visible(a.File), wrapped(r.What, "    "))
		writeLabelled(w, "found", r.Found)
		writeLabelled(w, "expected", r.Expected)
		writeLabelled(w, "do", r.Advice)
		return
	}
	if err != nil {
		fmt.Fprintf(w, "✗ NOT TAKEN: %s\n    %s\n", visible.Visible(a.File), lines(err.Error()))
		return
	}
	done := "taken"
	if a.WasThere {
		done = "there already, intact"
	}
	fmt.Fprintf(w, "✓ %s: %s, as %s %s\n", done, visible.Visible(a.File), a.Model, a.Version)
	if a.Member != "" {
		writeLabelled(w, "inside", a.Member)
	}
	writeLabelled(w, "size", media.Bytes(a.Size))
	writeLabelled(w, "SHA-256", string(a.SHA256))
	trust := trustWords[a.Trust]
	if len(a.Proofs) > 0 {
		trust += " (" + strings.Join(a.Proofs, ", ") + ")"
	}
	writeLabelled(w, "trust", trust)
	writeLabelled(w, "stands", a.Path)
	writeLabelled(w, "replaced", or(a.Instead, a.Replaced))
	writeLabelled(w, "written", a.Catalogue)
	for _, n := range a.Notes {
		writeLabelled(w, "note", n)
	}
}
