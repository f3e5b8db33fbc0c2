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
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/durable"
	"cardwright/manifest/pattern"
)

// Options say what may be done without a question.
type Options struct {
	New     bool // the other folder may be begun: nothing was ever synced there
	Emptied bool // many removals there are meant
}

// Report tells what a sync did, by the names of files.
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

// identify finds out which folder the other is, or names it.
func (j *job) identify() (err error) {
	if j.id, err = j.there.id(); err != nil {
		return err
	}
	if j.id == "" {
		if _, err := j.there.root.Lstat(manifest.ShopFile); err != nil && !j.o.New {
			return ErrNew
		}
		if j.id, err = j.there.giveID(); err != nil {
			return err
		}
	}
	if err := j.here.root.MkdirAll(ownFolder, 0o755); err != nil {
		return err
	}
	if j.lock, err = j.here.root.OpenFile(ownFolder+"/lock", os.O_CREATE|os.O_RDWR, 0o644); err != nil {
		return err
	}
	if err := durable.Lock(j.lock); err != nil {
		return fmt.Errorf("another sync of this shop is running: wait until it ends (%w)", err)
	}
	j.was, err = j.here.state(j.id)
	return err
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

// refuses tells whether a file, or a folder above it, is left out.
func (j *job) refuses(name string) bool {
	for at := name; at != "." && at != "/"; at = filepath.ToSlash(filepath.Dir(filepath.FromSlash(at))) {
		if _, is := j.r.Refused[at]; is {
			return true
		}
	}
	return false
}

// change is one file that goes from one folder to the other, or is removed.
type change struct {
	name    string
	here    bool   // it is this folder that changes
	digest  string // what is to be there; "": nothing
	instead string // what stands there; "": nothing
}

// decide compares both folders with what both had last.
func (j *job) decide() (todo []change) {
	names := map[string]bool{}
	for _, m := range []map[string]stamp{j.ours, j.theirs} {
		for name := range m {
			names[name] = true
		}
	}
	for name := range j.was.Both {
		names[name] = true
	}
	for name := range names {
		if j.refuses(name) {
			continue
		}
		ours, theirs, both := j.ours[name].SHA256, j.theirs[name].SHA256, j.was.Both[name]
		switch {
		case ours == theirs:
			j.agreed(name, ours)
		case theirs == both:
			todo = append(todo, change{name, false, ours, theirs})
		case ours == both:
			todo = append(todo, change{name, true, theirs, ours})
		default:
			j.r.Conflicts = append(j.r.Conflicts, Conflict{File: name, Place: j.r.There, Ours: ours, Theirs: theirs, Seen: j.now.UTC().Truncate(time.Second), with: j.id})
		}
	}
	// Packages go first, so that no catalogue names what isn't there; among the
	// removals they go last.
	slices.SortFunc(todo, func(a, b change) int { return strings.Compare(a.order(), b.order()) })
	slices.SortFunc(j.r.Conflicts, func(a, b Conflict) int { return strings.Compare(a.File, b.File) })
	return todo
}

func (c change) order() string {
	switch {
	case c.digest != "" && isPackage(c.name):
		return "1" + c.name
	case isPackage(c.name):
		return "3" + c.name
	}
	return "2" + c.name
}

// agreed notes that both folders have the same of a file now.
func (j *job) agreed(name, digest string) {
	delete(j.was.Conflicts, name)
	if digest == "" {
		delete(j.was.Both, name)
		return
	}
	j.was.Both[name] = digest
}

// fewRemovals is how many removals are taken over without a question.
const fewRemovals = 3

// mayRemove refuses removals that look as if the other folder had lost its files.
func (j *job) mayRemove(todo []change) error {
	n := 0
	for _, c := range todo {
		if c.here && c.digest == "" {
			n++
		}
	}
	if n > fewRemovals && n*2 > len(j.was.Both) && !j.o.Emptied {
		return fmt.Errorf("%w: %d of %d files", ErrEmptied, n, len(j.was.Both))
	}
	return nil
}

// loadable refuses texts with which the shop could no longer be loaded.
func (j *job) loadable(todo []change) {
	texts := map[string][]byte{}
	for _, c := range todo {
		if c.here && c.digest != "" && !isPackage(c.name) {
			if text, err := j.there.text(c.name); err == nil {
				texts[c.name] = text
			}
		}
	}
	for len(texts) > 0 {
		_, err := manifest.LoadWith(j.shop.Dir, texts)
		wrong, is := errors.AsType[manifest.Mistakes](err)
		if !is {
			return
		}
		some := false
		for _, m := range wrong {
			if _, is := texts[m.At.File]; is {
				j.r.Refused[m.At.File] = fmt.Sprintf("the shop can't be loaded with it: %s, %s (in %s)", m.At, m.What, j.there.dir)
				delete(texts, m.At.File)
				some = true
			}
		}
		if !some { // nothing of theirs is named: what is wrong stands here already
			return
		}
	}
}

func (j *job) carryOut(ctx context.Context, todo []change) error {
	for _, c := range todo {
		if err := ctx.Err(); err != nil {
			return err
		}
		if j.refuses(c.name) {
			continue
		}
		if err := j.do(ctx, c); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
		j.agreed(c.name, c.digest)
	}
	return j.noteConflicts(ctx)
}

func (j *job) do(ctx context.Context, c change) error {
	from, to, stamps := j.here, j.there, j.theirs
	changed, removed := &j.r.Sent, &j.r.RemovedThere
	if c.here {
		from, to, stamps = j.there, j.here, j.ours
		changed, removed = &j.r.Received, &j.r.RemovedHere
	}
	if c.instead != "" {
		if err := to.still(ctx, c.name, c.instead); err != nil {
			return err
		}
		if !isPackage(c.name) {
			if err := to.keep(c.name, j.now); err != nil {
				return err
			}
		}
	}
	if c.digest == "" {
		delete(stamps, c.name)
		*removed = append(*removed, c.name)
		return errors.Join(to.root.Remove(to.at(c.name)), to.syncAbove(to.at(c.name)))
	}
	in, err := from.open(c.name)
	if err != nil {
		return err
	}
	defer in.Close() // opened for reading only
	size := j.ours[c.name].Size
	if c.here {
		size = j.theirs[c.name].Size
	}
	if err := to.put(ctx, c.name, in, size, c.digest, c.instead); err != nil {
		return err
	}
	info, err := to.root.Lstat(to.at(c.name))
	if err != nil {
		return err
	}
	stamps[c.name] = stamp{info.Size(), info.ModTime().UnixNano(), c.digest}
	*changed = append(*changed, c.name)
	return nil
}

// noteConflicts keeps the other folder's texts, so that conflicts can be seen and
// settled without it.
func (j *job) noteConflicts(ctx context.Context) error {
	for name := range j.was.Conflicts {
		if !slices.ContainsFunc(j.r.Conflicts, func(c Conflict) bool { return c.File == name }) {
			delete(j.was.Conflicts, name)
		}
	}
	for _, c := range j.r.Conflicts {
		if err := ctx.Err(); err != nil {
			return err
		}
		if c.Theirs != "" && !isPackage(c.File) {
			text, err := j.there.text(c.File)
			if err == nil {
				err = j.here.write(theirsAt(j.id, c.File), text)
			}
			if err != nil {
				return fmt.Errorf("%s: %w", c.File, err)
			}
		}
		j.was.Conflicts[c.File] = c
	}
	return nil
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

// ErrNoConflict says that a file isn't in conflict.
var ErrNoConflict = errors.New("this file is not in conflict")

// Settle ends a conflict as a person decided: ours stays and goes to the other
// folder at the next sync, or theirs is taken. A package's bytes come at the next
// sync.
func Settle(ctx context.Context, shop *manifest.Shop, name string, theirs bool) error {
	f, err := openFolder(shop.Dir, shop.Packages)
	if err != nil {
		return err
	}
	defer f.close() // what is written says so itself
	list, err := f.conflicts()
	if err != nil {
		return err
	}
	settled := false
	for _, c := range list {
		if c.File != name {
			continue
		}
		if err := f.settle(ctx, c, theirs); err != nil {
			return fmt.Errorf("settling %s: %w", name, err)
		}
		settled = true
	}
	if !settled {
		return fmt.Errorf("%w: %s", ErrNoConflict, name)
	}
	return nil
}

func (f *folder) settle(ctx context.Context, c Conflict, theirs bool) error {
	s, err := f.state(c.with)
	if err != nil {
		return err
	}
	both := c.Theirs
	switch {
	case theirs && isPackage(c.File):
		both = c.Ours
	case theirs:
		if err := f.takeTheirs(ctx, c); err != nil {
			return err
		}
	}
	if both == "" {
		delete(s.Both, c.File)
	} else {
		s.Both[c.File] = both
	}
	delete(s.Conflicts, c.File)
	return f.save(c.with, s)
}

func (f *folder) takeTheirs(ctx context.Context, c Conflict) error {
	ours, err := f.text(c.File)
	gone := errors.Is(err, fs.ErrNotExist)
	if err != nil && !gone {
		return err
	}
	if !gone {
		if err := f.keep(c.File, time.Now()); err != nil {
			return err
		}
	}
	if c.Theirs == "" {
		if gone {
			return nil
		}
		return errors.Join(f.root.Remove(c.File), f.syncAbove(c.File))
	}
	text, err := f.text(theirsAt(c.with, c.File))
	if err != nil {
		return err
	}
	instead := ""
	if !gone {
		instead = string(digest.Of(ours))
	}
	return f.put(ctx, c.File, bytes.NewReader(text), int64(len(text)), c.Theirs, instead)
}
