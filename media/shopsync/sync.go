// Package shopsync brings the files of two folders of one shop together: the
// catalogue, the vessels and the package files. What changed in one since both had
// the same goes to the other, a removal too; what changed in both is a conflict,
// which a person settles, and changes nothing on either side until then. Nothing
// else of a shop is ever read or written there: not shop.yaml, no key.
//
// The other folder may hold anything: links, devices and names that lead elsewhere
// are left out, each with why, and texts that the shop could not be loaded with are
// refused.
package shopsync

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
)

// Options say what may be done without a question.
type Options struct {
	New     bool // the other folder may be begun: nothing was ever synced there
	Emptied bool // many removals there are meant
}

// Report says what a sync did, by the names of files.
type Report struct {
	Format       int               `json:"format"`
	Here         string            `json:"here"`
	There        string            `json:"there"`
	Received     []string          `json:"received"` // new or changed here
	Sent         []string          `json:"sent"`     // new or changed there
	RemovedHere  []string          `json:"removed_here"`
	RemovedThere []string          `json:"removed_there"`
	Conflicts    []Conflict        `json:"conflicts"`
	Refused      map[string]string `json:"refused"` // what isn't synced, with why
}

// What a sync refuses as a whole.
var (
	ErrNew     = errors.New("nothing was ever synced with this folder: check that its name is right and the stick is in")
	ErrEmptied = errors.New("most of what both had is gone there: check that it is the right folder")
	ErrSame    = errors.New("both are the same folder")
)

// Run syncs a shop folder with another folder: of another laptop, on a stick, on a
// share. It may be interrupted anywhere and run again; no file is ever half
// written.
func Run(ctx context.Context, shop *manifest.Shop, there string, o Options) (Report, error) {
	r := Report{
		Format: 1, Here: shop.Dir, There: there, Received: []string{}, Sent: []string{},
		RemovedHere: []string{}, RemovedThere: []string{}, Conflicts: []Conflict{}, Refused: map[string]string{},
	}
	j := job{shop: shop, o: o, r: &r, now: time.Now()}
	if err := j.open(there); err != nil {
		return r, fmt.Errorf("syncing with %s: %w", there, err)
	}
	defer j.close()
	if err := j.run(ctx); err != nil {
		return r, fmt.Errorf("syncing with %s: %w", there, err)
	}
	return r, nil
}

// job is one sync of a shop folder with another.
type job struct {
	shop        *manifest.Shop
	o           Options
	r           *Report
	now         time.Time
	here, there *folder
	lock        *os.File
	id          string
	was         *state
	ours        map[string]stamp
	theirs      map[string]stamp
}

func (j *job) open(there string) (err error) {
	a, errA := os.Stat(j.shop.Dir)
	b, errB := os.Stat(there)
	if err := errors.Join(errA, errB); err != nil {
		return err
	}
	if os.SameFile(a, b) {
		return ErrSame
	}
	if j.here, err = openFolder(j.shop.Dir, j.shop.Packages); err != nil {
		return err
	}
	packages, err := Keeps(there, "packages", packagesFolder)
	if err == nil {
		j.there, err = openFolder(there, packages)
	}
	if err != nil {
		return errors.Join(err, j.here.close())
	}
	if err := j.identify(); err != nil {
		return errors.Join(err, j.close())
	}
	return nil
}

func (j *job) close() error {
	err := errors.Join(j.here.close(), j.there.close())
	if j.lock != nil {
		err = errors.Join(err, j.lock.Close())
	}
	return err
}

var keeps = pattern.Of(`(?m)^([a-z]+):[ \t]*["']?([^"'#\r\n]*?)["']?[ \t]*(?:#.*)?$`)

// Keeps is where another folder keeps its packages or its ledger, by its shop.yaml,
// or usual where that doesn't say. Nothing else of that file is read.
func Keeps(dir, key, usual string) (string, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return "", err
	}
	defer root.Close() // opened for reading only
	in, err := root.Open(manifest.ShopFile)
	if errors.Is(err, fs.ErrNotExist) {
		return usual, nil
	}
	if err != nil {
		return "", err
	}
	defer in.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(in, manifest.MaxFileBytes))
	for _, m := range keeps.Regexp().FindAllSubmatch(text, -1) {
		if string(m[1]) == key && len(m[2]) > 0 {
			return string(m[2]), err
		}
	}
	return usual, err
}

func (j *job) run(ctx context.Context) error {
	if err := errors.Join(j.here.sweep(), j.there.sweep()); err != nil {
		return err
	}
	var err error
	if j.ours, err = j.read(ctx, j.here, j.was.Here); err != nil {
		return err
	}
	if j.theirs, err = j.read(ctx, j.there, j.was.There); err != nil {
		return err
	}
	todo := j.decide()
	if err := j.mayRemove(todo); err != nil {
		return err
	}
	j.loadable(todo)
	return errors.Join(j.carryOut(ctx, todo), j.remember())
}

// read digests all files of a folder.
func (j *job) read(ctx context.Context, f *folder, known map[string]stamp) (map[string]stamp, error) {
	l, err := f.list()
	if err != nil {
		return nil, err
	}
	for name, why := range l.refused {
		j.r.Refused[name] = why + " (in " + f.dir + ")"
	}
	all := map[string]stamp{}
	for name, info := range l.files {
		if all[name], err = f.digest(ctx, name, info, known[name]); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// refuses reports whether a file, or a folder above it, is left out.
func (j *job) refuses(name string) bool {
	for at := name; at != "." && at != "/"; at = filepath.ToSlash(filepath.Dir(filepath.FromSlash(at))) {
		if _, is := j.r.Refused[at]; is {
			return true
		}
	}
	return false
}

// remember saves what both have now, also after an interruption.
func (j *job) remember() error {
	j.was.Place, j.was.Synced = j.r.There, j.now.UTC().Truncate(time.Second)
	j.was.Here, j.was.There = packagesOf(j.ours), packagesOf(j.theirs)
	return j.here.save(j.id, j.was)
}

func packagesOf(all map[string]stamp) map[string]stamp {
	some := map[string]stamp{}
	for name, s := range all {
		if isPackage(name) {
			some[name] = s
		}
	}
	return some
}
