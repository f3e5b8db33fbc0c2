package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/intake"
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
refused, and you are told why.

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
	only := packageOptions{Request: intake.Request{From: o.From}}
	switch {
	case o.From == "":
		return "", usage(fmt.Errorf("expected downloads, or --from with a table of them\nusage: %s", cmd.UseLine()))
	case !reflect.DeepEqual(o, only):
		return "", usage(errors.New("beside --from with a table no other flag can stand: the table says it"))
	}
	return o.From, nil
}

func runPackageAdd(ctx context.Context, s *session, o packageOptions, paths []string) error {
	if err := o.check(); err != nil {
		return usage(err)
	}
	answer := addedAll{Format: 1, Files: []added{}}
	var codes []int
	for _, path := range paths {
		a, err := takeIn(ctx, s, o, path)
		if code(err) == exitUsage || len(paths) == 1 && !refused(err) && err != nil {
			return err
		}
		if err != nil {
			a.Error = err.Error()
		}
		codes = append(codes, code(err))
		answer.Files = append(answer.Files, a)
		if !s.json {
			a.tell(s.text(), err)
		}
		if ctx.Err() != nil {
			break
		}
	}
	if s.json {
		s.writeJSON(answer)
	}
	if c := first(codes); c != exitDone {
		return &answered{c}
	}
	return nil
}

func refused(err error) bool {
	_, ok := errors.AsType[*intake.Refused](err)
	return ok
}

// added is one download, as programs are told of it.
type added struct {
	File      string        `json:"file"`
	Taken     bool          `json:"taken"`
	WasThere  bool          `json:"was_there"`
	Model     string        `json:"model"`
	Version   version.V     `json:"version"`
	Member    string        `json:"member,omitempty"`
	Name      string        `json:"name"`
	Size      int64         `json:"size"`
	SHA256    digest.SHA256 `json:"sha256"`
	Trust     string        `json:"trust"`
	Proofs    []string      `json:"proofs"`
	Path      string        `json:"path"`
	Replaced  string        `json:"replaced,omitempty"`
	Instead   string        `json:"instead,omitempty"` // the file of its release that it took the place of
	Catalogue string        `json:"catalogue"`
	Notes     []string      `json:"notes"`
	Error     string        `json:"error"`
}

type addedAll struct {
	Format int     `json:"format"`
	Files  []added `json:"files"`
}

// mostAgain is how often one download is looked at again because somebody else
// changed the catalogue meanwhile.
const mostAgain = 5

// errAgain says that the catalogue isn't what it was when the download was
// looked at; nothing was written.
var errAgain = errors.New("the catalogue was changed by somebody else meanwhile: do this again")

// takingIn is one download on its way into the package folder and the catalogue.
type takingIn struct {
	session *session
	o       packageOptions // answers are written into it
	shop    *manifest.Shop // as it was when the download was looked at
	answer  added
}

// takeIn takes one download in, and looks again where somebody else changed the
// catalogue while it looked.
func takeIn(ctx context.Context, s *session, o packageOptions, path string) (added, error) {
	t := takingIn{session: s, o: o}
	t.o.Path = path
	err := errAgain
	for range mostAgain {
		if err = t.once(ctx); !errors.Is(err, errAgain) {
			break
		}
	}
	return t.answer, err
}

// once takes the download in: looked at, written to the catalogue on trial, copied
// beside its place, put there, and only then the catalogue. What it takes the
// place of goes last of all.
func (t *takingIn) once(ctx context.Context) (err error) {
	t.answer = added{File: t.o.Path, Proofs: []string{}, Notes: []string{}}
	if t.shop, err = t.session.shop(); err != nil {
		return err
	}
	if err := t.tooLarge(); err != nil {
		return err
	}
	found, err := t.examine(ctx)
	if err != nil {
		return err
	}
	t.answer.describe(found)
	if err := t.askMissing(ctx, found); err != nil {
		return err
	}
	leave, err := waitForTurn(ctx, &t.session.terminal, t.shop)
	if err != nil {
		return err
	}
	defer leave()
	file, err := t.catalogueChange(&found)
	if err != nil {
		return err
	}
	if err := t.onTrial(file); err != nil {
		return err
	}
	bar := t.session.bar("copying "+filepath.Base(t.o.Path), found.Size)
	taken, err := found.Take(ctx, t.shop, bar.add)
	bar.end()
	if err != nil {
		return err
	}
	return t.keep(file, found, taken)
}

// onTrial refuses what the shop wouldn't load with.
func (t *takingIn) onTrial(file *edit.File) error {
	if _, err := edit.Check(t.shop.Dir, file); err != nil {
		return fmt.Errorf("%s was not taken, for the shop would not load: %w", t.o.Path, err)
	}
	return nil
}

// waitForTurn waits for this program's turn to add to the shop.
func waitForTurn(ctx context.Context, t *terminal, shop *manifest.Shop) (leave func(), err error) {
	return intake.TakeTurn(ctx, shop, func() { t.complain("somebody else is adding it, or another package: waiting until they are done") })
}

// keep puts a package that was copied in its place and tells the catalogue.
func (t *takingIn) keep(file *edit.File, found intake.Found, taken *intake.Taken) error {
	if err := taken.Commit(); err != nil {
		return err
	}
	if err := edit.Save(t.shop.Dir, file); err != nil {
		now, _ := t.session.shop() // Save has told of what is wrong with it
		return errors.Join(fmt.Errorf("%s was not taken: %w", found.Path, err), taken.Withdraw(now))
	}
	a := &t.answer
	a.Taken, a.WasThere, a.Replaced = true, taken.WasThere(), taken.Was
	if file.Differs() || found.Known == nil {
		a.Catalogue = file.Name()
	}
	if found.Instead != nil || found.Done {
		a.settle(t.session, found, taken)
	}
	a.Path = taken.Path
	return nil
}

// settle takes out of the package folder what a release has no longer, and moves
// what took its place to the usual one. The catalogue has the new file by now:
// what can't be taken out is only told, and the same command takes it out later.
func (a *added) settle(s *session, found intake.Found, taken *intake.Taken) {
	if found.Instead != nil {
		a.Instead = found.Instead.Name
	}
	now, err := s.shop()
	if err == nil {
		err = errors.Join(discardPast(now, found), taken.Settle(now, found))
	}
	if err != nil {
		a.Notes = append(a.Notes, "the catalogue has the new file; the old one is still in the package folder: "+err.Error())
	}
}

// discardPast takes out the files that a release had by the model's history.
func discardPast(now *manifest.Shop, found intake.Found) (err error) {
	m := now.Model(found.Model.ID)
	if m == nil {
		return nil
	}
	for _, p := range m.History {
		if p.Variant != found.Variant || version.Compare(p.Version, found.Version) != 0 {
			continue
		}
		source := found.Source()
		source.Name, source.Size, source.SHA256 = p.File, int64(p.Size), p.SHA256
		_, e := intake.Discard(now, source)
		err = errors.Join(err, e)
	}
	return err
}

// tooLarge refuses a file that the catalogue couldn't have, for its size, before
// it is read.
func (t *takingIn) tooLarge() error {
	m, size := t.shop.Model(t.o.Model), sizeOf(t.o.Path)
	if m == nil || size <= int64(manifest.MaxFATFile) || t.o.Member != "" || t.o.Unpack {
		return nil
	}
	file, now, err := edit.OpenLoaded(t.shop.Dir, m.At(""))
	if err != nil {
		return err
	}
	if m = now.Model(t.o.Model); m == nil {
		return &edit.Changed{Path: file.Name()}
	}
	n := edit.NewFile{Version: t.o.Version, Variant: t.o.Variant, Released: or(t.o.released, "2000-01-01"), Name: "it", Size: size, SHA256: digest.SHA256(strings.Repeat("0", 64))}
	if err := edit.AddFile(file, m, n); err != nil {
		return err
	}
	return t.onTrial(file)
}

func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0 // opening it says why
	}
	return info.Size()
}

// read reads a download and finds out what it is.
func (t *takingIn) read(ctx context.Context, r intake.Request) (intake.Found, error) {
	return readDownload(ctx, &t.session.terminal, t.shop, r)
}

func readDownload(ctx context.Context, t *terminal, shop *manifest.Shop, r intake.Request) (intake.Found, error) {
	bar := t.bar("reading "+filepath.Base(r.Path), sizeOf(r.Path))
	defer bar.end()
	r.Words = commandWords
	return intake.Examine(ctx, shop, r, bar.add)
}

// catalogueChange is the catalogue's file with what is to be written there.
func (t *takingIn) catalogueChange(found *intake.Found) (*edit.File, error) {
	file, now, err := edit.OpenLoaded(t.shop.Dir, found.Model.At(""))
	if err != nil {
		return nil, err
	}
	if !found.Again(now) || edit.NameOf(found.Model.At("")) != file.Name() {
		return nil, errAgain
	}
	return file, t.o.change(file, *found)
}

// change writes a download to the catalogue's file of its model.
func (o *packageOptions) change(file *edit.File, found intake.Found) error {
	today := time.Now().Format(time.DateOnly)
	past := edit.Past{Until: today, Why: or(o.why, found.Why)}
	if found.NewKey != "" {
		if err := edit.ReplaceKey(file, found.Model, found.NewKey, today, o.ReplaceKey); err != nil {
			return err
		}
	}
	if o.Opens && !found.Model.OpensArchives && found.Known == nil {
		if err := file.Set(edit.Way{"opens_archives"}, edit.Plain("true"), edit.ModelKeys); err != nil {
			return err
		}
	}
	if found.Known != nil {
		trust, from, day := found.Trust, found.Got(), ""
		if found.Known.Trust == trust {
			trust = ""
		}
		if found.Known.Added.IsZero() {
			day = today
		}
		if err := edit.Vouch(file, found.Model, found.Known, trust, from, day); err != nil || found.Instead == nil {
			return err
		}
		return edit.RemoveFile(file, found.Model, found.Instead, past)
	}
	n, err := o.newFile(found)
	if err != nil {
		return err
	}
	n.Added = today
	if past.By = found.SHA256; found.Instead != nil {
		return edit.ReplaceFile(file, found.Model, found.Instead, n, past)
	}
	return edit.AddFile(file, found.Model, n)
}

// newFile is what the catalogue is told of a file that it doesn't know.
func (o *packageOptions) newFile(found intake.Found) (edit.NewFile, error) {
	n := edit.NewFile{
		Version: found.Version, Variant: found.Variant, Released: o.released,
		Name: found.Name, Size: found.Size, SHA256: found.SHA256, Trust: found.Trust, From: found.From,
		Over: o.over, PassedOnBy: o.passedOnBy, Minutes: o.minutes, WayBack: o.wayBack, BackTo: o.backTo, BackSettings: o.backSettings, Settings: o.settings, After: o.after, Notes: o.notes, Touch: o.touch,
	}
	if found.Unpack {
		n.Unpack = manifest.UnpackZip
	}
	n.Members = found.Members
	for _, text := range o.needs {
		need, err := parseNeed(text)
		if err != nil {
			return n, usage(fmt.Errorf("--needs %q: %w", text, err))
		}
		n.Needs = append(n.Needs, need)
	}
	return n, nil
}

func (a *added) describe(f intake.Found) {
	a.Model, a.Version, a.Member, a.Name, a.Size, a.SHA256, a.Trust = f.Model.ID, f.Version, f.Member, f.Name, f.Size, f.SHA256, f.Trust
	for _, p := range f.Proofs {
		a.Proofs = append(a.Proofs, p.What)
	}
	a.Notes = append(a.Notes, f.Notes...)
}

// trustWords say what vouches for a file.
var trustWords = map[string]string{
	manifest.TrustMaker:  "the maker's digest",
	manifest.TrustSecond: "a second source",
	manifest.TrustOurs:   "only ours: nobody else vouches for these bytes",
	"":                   "not said in the catalogue",
}

// tell says what became of one download.
func (a *added) tell(w io.Writer, err error) {
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
		done = "there already, whole"
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
