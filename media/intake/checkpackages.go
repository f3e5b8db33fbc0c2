package intake

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/durable"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/media"
)

// State is how a package file compares with the catalogue.
type State string

// The states of a package file, from best to worst.
const (
	Whole      State = "whole"      // read to its end, and as the catalogue says
	Present    State = "present"    // of the right size; not read
	Unused     State = "unused"     // intact, and of no use to any vessel
	Unknown    State = "unknown"    // not in the catalogue
	Missing    State = "missing"    // in the catalogue, and not there
	Differs    State = "differs"    // not what the catalogue says
	Unreadable State = "unreadable" // could not be read to its end
)

// Checked is one package file, as the inventory reports it. It is apart from
// digest.File: what it names may not be there, and its size and digest are what is
// expected.
type Checked struct {
	State     State         `json:"state"`
	Path      string        `json:"path"` // below the package folder, slashes between
	Model     string        `json:"model"`
	Version   version.V     `json:"version"`
	Variant   string        `json:"variant,omitempty"`
	Name      string        `json:"name"`
	Size      int64         `json:"size"` // as the catalogue says; of an unknown file, its own
	SHA256    digest.SHA256 `json:"sha256"`
	Trust     string        `json:"trust"`
	From      string        `json:"from,omitempty"`
	Added     string        `json:"added,omitempty"`     // day on which the shop took it in
	Downloads string        `json:"downloads,omitempty"` // where its maker publishes it
	NeededBy  []string      `json:"needed_by"`           // vessels
	Found     string        `json:"found,omitempty"`
	Advice    string        `json:"advice,omitempty"`
	LastRead  time.Time     `json:"last_read,omitzero"`      // when it was last read on this computer
	LastWrong bool          `json:"last_wrong,omitempty"`    // it wasn't right then
	Changed   bool          `json:"changed_since,omitempty"` // it has another size or time than it had then

	path string // where it is
	size int64
	sum  digest.SHA256 // of an unknown file that was read

	wasRead bool // by Check, to its end or to a fault
	words   problem.Words
}

// Inventory is every package file of a shop: those of the catalogue in its
// order, then those that it doesn't know.
type Inventory struct {
	Files     []*Checked
	Unplanned []Unplanned
}

// List looks for every package file by name and size; nothing is read. words are
// what advice calls Acts.
func List(shop *manifest.Shop, words problem.Words) (Inventory, error) {
	return ListFor(shop, shop.Vessels, words)
}

// ListFor is List with the needs of these vessels alone.
func ListFor(shop *manifest.Shop, vessels []*manifest.Vessel, words problem.Words) (Inventory, error) {
	packages := media.PackagesOf(shop)
	needs := needsOf(shop, vessels, words)
	inv := Inventory{Unplanned: needs.Unplanned}
	known := map[string]bool{}
	for _, m := range shop.Models {
		for _, r := range m.Releases {
			for _, f := range r.Files {
				c := fromCatalogue(packages, needs, m, r, f)
				if c.path != "" {
					known[c.path] = true
				}
				if c.State == Present && !useful(shop, needs, m, r) {
					c.State = Unused
				}
				inv.Files = append(inv.Files, c)
			}
		}
	}
	strangers, err := strangers(packages.Dir, known, words)
	if err != nil {
		return inv, err
	}
	inv.Files = append(inv.Files, strangers...)
	for _, c := range inv.Files {
		c.words = words
	}
	return inv, nil
}

// fromCatalogue is one file of the catalogue, as far as its name and size tell.
func fromCatalogue(packages media.Packages, needs neededBy, m *manifest.Model, r *manifest.Release, f *manifest.File) *Checked {
	c := &Checked{
		State: Present, Model: m.ID, Version: r.Version, Variant: r.Variant, Name: f.Name, Size: int64(f.Size),
		SHA256: f.SHA256, Trust: f.Trust, From: f.From, NeededBy: needs.vesselsFor(r), Downloads: m.Downloads,
	}
	if c.NeededBy == nil {
		c.NeededBy = []string{}
	}
	if !f.Added.IsZero() {
		c.Added = f.Added.Format(time.DateOnly)
	}
	source := media.SourceOf(m, r, f)
	path, err := packages.Find(source)
	var wrong *media.PackageError
	switch {
	case errors.As(err, &wrong):
		path = packages.Place(source)
		c.State, c.Found, c.Advice = Missing, wrong.Found, wrong.Advice
		if wrong.Path != path || exists(path) {
			path, c.State = wrong.Path, Differs
		}
	case err != nil:
		path = packages.Place(source)
		c.State, c.Found, c.Advice = Unreadable, err.Error(), "check the folder's permissions"
	}
	c.Path = below(packages.Dir, path)
	if c.State != Missing {
		c.path, c.size = path, int64(f.Size)
	}
	return c
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func below(dir, path string) string {
	if rel, err := filepath.Rel(dir, path); err == nil {
		return filepath.ToSlash(rel)
	}
	return path
}

// strangers are the files of the package folder that the catalogue doesn't know,
// except lists and signatures next to known ones.
func strangers(dir string, known map[string]bool, words problem.Words) ([]*Checked, error) {
	w := &walk{dir: dir, known: known, words: words, folders: map[string]bool{}}
	for path := range known {
		folder, _ := filepath.Split(path)
		w.folders[folder] = true
	}
	if err := w.folder(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("reading the package folder: %w", err)
	}
	slices.SortFunc(w.found, func(a, b *Checked) int { return cmp.Compare(a.Path, b.Path) })
	return w.found, nil
}

// walk goes through the package folder.
type walk struct {
	dir            string
	known, folders map[string]bool // files of the catalogue, and the folders that they are in
	words          problem.Words
	entries        int
	found          []*Checked
}

// folder reads one folder. A link to a folder is followed where files of the
// catalogue are below it: packages may be on another disk.
func (w *walk) folder(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if w.entries++; w.entries > maxPackageFiles {
			return fmt.Errorf("more than %d files and folders", maxPackageFiles)
		}
		path := filepath.Join(dir, e.Name())
		switch {
		case e.IsDir() || e.Type()&fs.ModeSymlink != 0 && w.needs(path):
			err = w.folder(path)
		case !w.known[path] && !companion(path, w.known, w.folders):
			w.found = append(w.found, w.stranger(path, e.Name()))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// needs says whether the catalogue has files below a folder.
func (w *walk) needs(path string) bool {
	for folder := range w.folders {
		if strings.HasPrefix(folder, path+string(filepath.Separator)) {
			return true
		}
	}
	return false
}

func (w *walk) stranger(path, name string) *Checked {
	c := &Checked{State: Unknown, Path: below(w.dir, path), Name: name, NeededBy: []string{}, path: path, Advice: "add it with " + w.words.For(TakeIn) + ", or delete it"}
	if _, ok := durable.Finished(name); ok {
		c.Found, c.Advice = "an unfinished copy", "delete it"
	}
	switch info, err := os.Stat(path); {
	case err == nil && info.Mode().IsRegular():
		c.Size, c.size = info.Size(), info.Size()
	case err == nil && info.IsDir():
		c.Found, c.path, c.Advice = "a link to a folder", "", "delete the link, or copy what you need from that folder to here"
	default:
		c.Found, c.path, c.Advice = "not a plain file", "", "delete it"
	}
	return c
}

// companion reports whether a file is a list or a signature that belongs to
// packages next to it.
func companion(path string, known, folders map[string]bool) bool {
	dir, name := filepath.Split(path)
	if !folders[dir] {
		return false
	}
	if of := signedName(name); of != "" && (known[dir+of] || isListName(of)) {
		return true
	}
	return isListName(name) && (owned(name) == "" || known[dir+owned(name)])
}

// mostWorkers is how many files are read at a time, at most.
const mostWorkers = 4

// Check reads every package file again, several at a time, and compares it with the
// catalogue. The system's cache of a file is dropped first, as far as the system
// lets that be done, so that the disk answers. progress, which may be nil, gets
// the number of bytes read, from one goroutine at a time.
func Check(ctx context.Context, inv Inventory, progress func(int64)) error {
	jobs := make(chan *Checked)
	var wait sync.WaitGroup
	var mutex sync.Mutex
	tell := func(n int64) {
		if progress != nil {
			mutex.Lock()
			progress(n)
			mutex.Unlock()
		}
	}
	bySize := inv.sizes()
	for range min(runtime.GOMAXPROCS(0), mostWorkers) {
		wait.Go(func() {
			buffer := make([]byte, copyBytes)
			for c := range jobs {
				c.read(ctx, buffer, tell)
			}
		})
	}
	for _, c := range inv.toRead(bySize) {
		jobs <- c
	}
	close(jobs)
	wait.Wait()
	for _, c := range inv.Files {
		c.recognise(bySize)
	}
	return ctx.Err()
}

// Bytes is how much Check reads.
func (inv Inventory) Bytes() (sum int64) {
	for _, c := range inv.toRead(inv.sizes()) {
		sum += c.size
	}
	return sum
}

// sizes are the catalogue's files by size: an unknown file of such a size may
// be one of them.
func (inv Inventory) sizes() map[int64][]*Checked {
	all := map[int64][]*Checked{}
	for _, c := range inv.Files {
		if c.SHA256 != "" {
			all[c.Size] = append(all[c.Size], c)
		}
	}
	return all
}

// toRead are the files to be read, the largest first: no worker is left alone with
// one at the end.
func (inv Inventory) toRead(bySize map[int64][]*Checked) []*Checked {
	var all []*Checked
	for _, c := range inv.Files {
		if c.State == Present || c.State == Unused || c.State == Unknown && c.path != "" && len(bySize[c.Size]) > 0 {
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, func(a, b *Checked) int { return cmp.Compare(b.size, a.size) })
	return all
}

func (c *Checked) read(ctx context.Context, buffer []byte, progress func(int64)) {
	if ctx.Err() != nil {
		return
	}
	sum, n, err := hashFile(ctx, c.path, buffer, progress)
	c.wasRead = !errors.Is(err, context.Canceled)
	switch {
	case errors.Is(err, context.Canceled):
	case err != nil:
		c.State, c.Found, c.Advice = Unreadable, err.Error(), "the disk may be failing: back it up, and download this again"
	case c.State == Unknown:
		c.sum = sum
	case sum != c.SHA256:
		c.State, c.Found, c.Advice = Differs, fmt.Sprintf("SHA-256 %s, %s", sum, media.Bytes(n)), "download it again, and take it in with "+c.words.For(TakeIn)
	case c.State == Present:
		c.State = Whole
	}
}

// recognise says which file of the catalogue an unknown one is. All have been read
// by then.
func (c *Checked) recognise(bySize map[int64][]*Checked) {
	if c.State != Unknown || c.sum == "" {
		return
	}
	for _, k := range bySize[c.Size] {
		if k.SHA256 != c.sum {
			continue
		}
		c.Found = fmt.Sprintf("the same as %s of %s %s", k.Name, k.Model, k.Version)
		c.Advice = "delete it"
		if k.State == Missing || k.State == Differs {
			c.Advice = "take it in with " + c.words.For(TakeIn)
		}
		return
	}
}

// hashFile reads a file from the disk, as far as its cache could be dropped, into
// the buffer given.
func hashFile(ctx context.Context, path string, buffer []byte, progress func(int64)) (digest.SHA256, int64, error) {
	in, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer in.Close() // opened for reading only
	dropCache(in)
	sum := sha256.New()
	var all int64
	for {
		n, err := in.Read(buffer)
		sum.Write(buffer[:n])
		all += int64(n)
		progress(int64(n))
		switch {
		case errors.Is(err, io.EOF):
			return digest.Sum(sum), all, nil
		case err != nil:
			return "", all, err
		case ctx.Err() != nil:
			return "", all, ctx.Err()
		}
	}
}

// Counts is how many files are in each state; every state has an entry.
func (inv Inventory) Counts() map[State]int {
	counts := map[State]int{Whole: 0, Present: 0, Unused: 0, Unknown: 0, Missing: 0, Differs: 0, Unreadable: 0}
	for _, c := range inv.Files {
		counts[c.State]++
	}
	return counts
}
