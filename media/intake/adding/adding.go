// Package adding takes downloads into the catalogue and the package folder, one by one
// or by a table, and takes files out again. A download that nobody has described leaves
// questions open: they are data, which whoever runs the job answers, at a terminal or
// from flags. What a download is, and who vouches for it, is package intake's; how the
// catalogue's files are written, package edit's.
package adding

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/media/intake"
)

// Said is what was said of a download, and of a release that is new to the catalogue.
// Texts are as in the catalogue; "": nothing was said.
type Said struct {
	intake.Request
	Released, Over, PassedOnBy string
	Needs, After, Touch        []string
	Minutes, WayBack, Settings string
	BackTo, BackSettings       string
	Notes, Why                 string
}

// Shop is where packages are added.
type Shop struct {
	Load  func() (*manifest.Shop, error) // as it is now
	Today time.Time
	Words problem.Words // for Acts and intake.Acts
	// Watch shows how far the reading or copying of so many bytes is; never nil.
	Watch func(doing, path string, bytes int64) (add func(int64), end func())
	Waits func() // called once where somebody else is adding to the shop
}

// What advice asks to have said, in addition to intake's acts.
const (
	SayNeeds     problem.Act = "its needs"
	SayTouch     problem.Act = "the file that is touched"
	SayReleased  problem.Act = "the day of release"
	WholeRelease problem.Act = "the whole release"
)

// Acts are all of them.
var Acts = []problem.Act{SayNeeds, SayTouch, SayReleased, WholeRelease}

// BadSaid says that what was said of a package isn't accepted, or isn't enough.
type BadSaid struct{ Err error }

func (e *BadSaid) Error() string { return e.Err.Error() }
func (e *BadSaid) Unwrap() error { return e.Err }

func badSaid(format string, args ...any) error { return &BadSaid{fmt.Errorf(format, args...)} }

// ErrAgain says that the catalogue isn't what it was when the download was examined;
// nothing was written.
var ErrAgain = errors.New("the catalogue was changed by somebody else meanwhile: do this again")

// Added is one download as reported to programs.
type Added struct {
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

func addedOf(path string) Added {
	return Added{File: path, Proofs: []string{}, Notes: []string{}}
}

func (a *Added) describe(f intake.Found) {
	a.Model, a.Version, a.Member, a.Name, a.Size, a.SHA256, a.Trust = f.Model.ID, f.Version, f.Member, f.Name, f.Size, f.SHA256, f.Trust
	for _, p := range f.Proofs {
		a.Proofs = append(a.Proofs, p.What)
	}
	a.Notes = append(a.Notes, f.Notes...)
}

// settle takes out of the package folder what a release has no longer, and moves
// what took its place to the usual one. The catalogue has the new file by now:
// what can't be taken out is only reported, and the same command takes it out later.
func (a *Added) settle(s Shop, found intake.Found, taken *intake.Taken) {
	if found.Instead != nil {
		a.Instead = found.Instead.Name
	}
	now, err := s.Load()
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

// Download is one download on its way into the package folder and the catalogue:
// Examine, then Next and Answer until nothing is open, then Take. On ErrAgain all of
// it is done again; what was answered stays.
type Download struct {
	Said  Said // answers are written into it
	Added Added

	in      Shop
	shop    *manifest.Shop // as it was when the download was examined
	found   intake.Found
	refused *intake.Refused // why it isn't taken, as it is
	passed  map[string]bool // questions that were answered, by key
	release bool            // what the maker says of a new release is asked for
}

// NewDownload is a download of which this was said.
func NewDownload(in Shop, said Said) *Download {
	return &Download{in: in, Said: said, release: said.Released == "", passed: map[string]bool{ofNeeds: len(said.Needs) > 0}}
}

// Examine finds out what the download is. A download that is refused is no error yet:
// questions may be open whose answers change that, and else Take gives the refusal.
func (d *Download) Examine(ctx context.Context) (err error) {
	d.Added = addedOf(d.Said.Path)
	if d.shop, err = d.in.Load(); err != nil {
		return err
	}
	if err := d.tooLarge(); err != nil {
		return err
	}
	return d.examine(ctx, d.Said.Request)
}

func (d *Download) examine(ctx context.Context, r intake.Request) (err error) {
	d.refused = nil
	d.found, err = examined(ctx, d.in, d.shop, r)
	if refused, ok := errors.AsType[*intake.Refused](err); ok {
		d.refused = refused
		return nil
	}
	if err == nil {
		d.Added = addedOf(d.Said.Path)
		d.Added.describe(d.found)
	}
	return err
}

func examined(ctx context.Context, in Shop, shop *manifest.Shop, r intake.Request) (intake.Found, error) {
	add, end := in.Watch("reading", r.Path, sizeOf(r.Path))
	defer end()
	r.Words = in.Words
	return intake.Examine(ctx, shop, r, add)
}

func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0 // opening it says why
	}
	return info.Size()
}

// tooLarge refuses a file that the catalogue couldn't have, for its size, before it
// is read.
func (d *Download) tooLarge() error {
	m, size := d.shop.Model(d.Said.Model), sizeOf(d.Said.Path)
	if m == nil || size <= int64(manifest.MaxFATFile) || d.Said.Member != "" || d.Said.Unpack {
		return nil
	}
	file, now, err := edit.OpenLoaded(d.shop.Dir, m.At(""))
	if err != nil {
		return err
	}
	if m = now.Model(d.Said.Model); m == nil {
		return &edit.Changed{Path: file.Name()}
	}
	released := d.Said.Released
	if released == "" {
		released = "2000-01-01"
	}
	n := edit.NewFile{Version: d.Said.Version, Variant: d.Said.Variant, Released: released, Name: "it", Size: size, SHA256: digest.SHA256(strings.Repeat("0", 64))}
	if err := edit.AddFile(file, m, n); err != nil {
		return err
	}
	return d.onTrial(file)
}

// onTrial refuses what the shop wouldn't load with.
func (d *Download) onTrial(file *edit.File) error {
	if _, err := edit.Check(d.shop.Dir, file); err != nil {
		return fmt.Errorf("%s was not taken, for the shop would not load: %w", d.Said.Path, err)
	}
	return nil
}

// Take takes the download in: written to the catalogue on trial, copied next to its
// place, put there, and only then the catalogue. What it takes the place of goes last
// of all.
func (d *Download) Take(ctx context.Context) error {
	if d.refused != nil {
		return d.refused
	}
	if err := d.enough(); err != nil {
		return err
	}
	leave, err := intake.TakeTurn(ctx, d.shop, d.in.Waits)
	if err != nil {
		return err
	}
	defer leave()
	file, now, err := edit.OpenLoaded(d.shop.Dir, d.found.Model.At(""))
	if err != nil {
		return err
	}
	if !d.found.Again(now) || edit.NameOf(d.found.Model.At("")) != file.Name() {
		return ErrAgain
	}
	if err := d.Said.change(file, d.found, d.in); err != nil {
		return err
	}
	if err := d.onTrial(file); err != nil {
		return err
	}
	add, end := d.in.Watch("copying", d.Said.Path, d.found.Size)
	taken, err := d.found.Take(ctx, d.shop, add)
	end()
	if err != nil {
		return err
	}
	return d.keep(file, taken)
}

// keep puts a package that was copied in its place and enters it in the catalogue.
func (d *Download) keep(file *edit.File, taken *intake.Taken) error {
	if err := taken.Commit(); err != nil {
		return err
	}
	if err := edit.Save(d.shop.Dir, file); err != nil {
		now, _ := d.in.Load() // Save has reported what is wrong with it
		return errors.Join(fmt.Errorf("%s was not taken: %w", d.found.Path, err), taken.Withdraw(now))
	}
	a := &d.Added
	a.Taken, a.WasThere, a.Replaced = true, taken.WasThere(), taken.Was
	if file.Differs() || d.found.Known == nil {
		a.Catalogue = file.Name()
	}
	if d.found.Instead != nil || d.found.Done {
		a.settle(d.in, d.found, taken)
	}
	a.Path = taken.Path
	return nil
}
