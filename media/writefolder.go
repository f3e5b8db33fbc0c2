package media

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest/durable"
	"cardwright/manifest/problem"
	"cardwright/manifest/samename"
	"cardwright/media/place"
)

// LeaveBeside is the act by which other files may stay in a folder.
const LeaveBeside problem.Act = "say so"

// FolderTarget is a card that is formatted and mounted already, or any other
// folder. It promises less than a drive or an image: it can't be blank while it is
// written, so an interruption can leave some files there. They have temporary names
// until all are written, and the record comes last: such a folder never has a
// record of its new content.
type FolderTarget struct {
	Dir    string
	Beside bool // other files may be there, and stay
	// Replace lets the files of any card that was made go, whoever it was for;
	// without it only those of an earlier making of this one.
	Replace bool
	Words   problem.Words // for LeaveBeside, in advice
	// Judge reads the folder, past caches where it can.
	Judge func(ctx context.Context, record Record) error
}

// pendingFolder holds the files under temporary names while they are written.
const pendingFolder = place.Pending

// maxFolderEntries bounds how much of a folder is listed.
const maxFolderEntries = 100_000

// Occupied is a folder with files that aren't ours to touch.
type Occupied struct {
	Dir   string
	Paths []string // some of what is in the way
	problem.Problem
}

func (e *Occupied) Error() string {
	return fmt.Sprintf("%s holds %s: %s", e.Dir, e.Found, e.Advice)
}

// occupied refuses a folder that holds files of others.
func occupied(dir string, paths []string, advice string) *Occupied {
	found := fmt.Sprintf("%d files that aren't this card's (%q …)", len(paths), paths[0])
	if len(paths) == 1 {
		found = fmt.Sprintf("a file that isn't this card's (%q)", paths[0])
	}
	return &Occupied{dir, paths, problem.Problem{Expected: "no files but this card's", Found: found, Advice: advice}}
}

// WriteFolder writes a card's files into a folder and has them judged.
func (j Job) WriteFolder(ctx context.Context, t FolderTarget) Outcome {
	if err := place.MayMake(filepath.Join(t.Dir, pendingFolder)); err != nil {
		return Outcome{Err: err}
	}
	root, err := os.OpenRoot(t.Dir)
	if err != nil {
		return Outcome{Err: fmt.Errorf("opening the folder: %w", err)}
	}
	defer root.Close()
	claimed, err := claim(root)
	if err != nil {
		return Outcome{Err: fmt.Errorf("opening the folder: %w", err)}
	}
	defer claimed.Close()
	w := folderWriter{job: j, target: t, root: root}
	record, err := w.write(ctx)
	if err != nil {
		left, err := w.takeBack(err)
		return Outcome{Err: err, Written: w.written, Left: left}
	}
	return Outcome{Record: record, Written: w.written}
}

// folderWriter writes one card into one folder.
type folderWriter struct {
	job     Job
	target  FolderTarget
	root    *os.Root
	written int64
	placed  []string // files that have their own names by now
	started bool     // whether anything in the folder was changed
	oldGone bool     // whether an earlier card's files were removed
}

func (w *folderWriter) write(ctx context.Context) (Record, error) {
	old, err := w.findOld()
	if err != nil {
		return Record{}, err
	}
	if err := w.root.RemoveAll(pendingFolder); err != nil {
		return Record{}, fmt.Errorf("removing the leftovers of an interrupted run: %w", err)
	}
	w.started = true
	record, own, err := w.writePending(ctx)
	if err != nil {
		return Record{}, err
	}
	if err := w.removeOld(old); err != nil {
		return Record{}, err
	}
	if err := w.rename(own); err != nil {
		return Record{}, err
	}
	if err := w.target.Judge(ctx, record); err != nil {
		if ctx.Err() != nil {
			return Record{}, ctx.Err()
		}
		return Record{}, &Misread{err, anotherCard}
	}
	return record, nil
}

// findOld lists the files of our earlier card: those in its record that still have
// its digests. Other files are refused, unless they may stay.
func (w *folderWriter) findOld() (old []string, err error) {
	if w.target.Beside && w.job.Card.AtPowerUp {
		return nil, errors.New("a device that installs at power-up takes this card: no other files may be on it; use an empty card")
	}
	ours := w.earlierFiles()
	var foreign []string
	count := 0
	err = fs.WalkDir(w.root.FS(), ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("looking through the folder: %w", err)
		}
		if count++; count > maxFolderEntries {
			return fmt.Errorf("looking through the folder: more than %d files and folders", maxFolderEntries)
		}
		if p == pendingFolder {
			return fs.SkipDir
		}
		if d.IsDir() {
			return nil
		}
		if ours[p] {
			old = append(old, p)
		} else {
			foreign = append(foreign, p)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return old, w.refuseForeign(foreign)
}

func (w *folderWriter) refuseForeign(foreign []string) error {
	if len(foreign) == 0 {
		return nil
	}
	if !w.target.Beside {
		return occupied(w.target.Dir, foreign, "use an empty card, or "+w.target.Words.For(LeaveBeside)+" to leave the files there")
	}
	taken := map[string]string{} // files of the card and the folders above them, by key
	for _, p := range w.finalPaths() {
		for ; p != "."; p = path.Dir(p) {
			taken[samename.Key(p)] = p
		}
	}
	for _, p := range foreign {
		for at := p; at != "."; at = path.Dir(at) {
			if ours, ok := taken[samename.Key(at)]; ok && (at == p || at != ours) {
				return occupied(w.target.Dir, []string{p}, fmt.Sprintf("a device may take /%s for the card's own /%s; move it away first", at, ours))
			}
		}
	}
	return nil
}

// earlierFiles are the paths in an earlier record of ours whose files are still
// what it says.
func (w *folderWriter) earlierFiles() map[string]bool {
	ours := map[string]bool{}
	text, err := readRecord(w.root, RecordPath)
	if err != nil {
		return ours
	}
	record, err := DecodeRecord(text)
	meant := w.job.Layout.Record(w.job.Card)
	same := record.Shop == meant.Shop && record.Vessel == meant.Vessel && record.Card == meant.Card
	if err != nil || !same && !w.target.Replace {
		return ours
	}
	for _, f := range append(slices.Clone(record.Files), record.InstallOrder) {
		if w.isUnchanged(f) {
			ours[path.Clean(f.Path)] = true
		}
	}
	for _, p := range []string{RecordPath, SumsPath, SignaturePath} {
		ours[p] = true
	}
	return ours
}

func readRecord(root *os.Root, name string) ([]byte, error) {
	f, err := root.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, MaxRecordBytes+1))
}

func (w *folderWriter) isUnchanged(f RecordFile) bool {
	in, err := w.root.Open(f.Path)
	if err != nil {
		return false
	}
	defer in.Close()
	running := NewRunning()
	n, err := io.Copy(running, io.LimitReader(in, f.Size+1))
	return err == nil && n == f.Size && running.SHA256() == f.SHA256
}

// finalPaths are the files that will be in the folder, the record last.
func (w *folderWriter) finalPaths() []string {
	var paths []string
	for _, f := range w.job.Card.Files {
		paths = append(paths, f.Path)
	}
	if w.job.Card.Alone {
		return paths
	}
	paths = append(paths, InstallOrderPath, SumsPath)
	if w.job.Sign != nil {
		paths = append(paths, SignaturePath)
	}
	return append(paths, RecordPath)
}

// pendingName is where the nth payload file, or after these the nth file of the
// record's folder, stays until everything is written.
func pendingName(n int) string { return fmt.Sprintf("%s/%05d", pendingFolder, n) }

// writePending writes all files under temporary names.
func (w *folderWriter) writePending(ctx context.Context) (Record, []string, error) {
	if err := w.root.Mkdir(pendingFolder, 0o755); err != nil {
		return Record{}, nil, fmt.Errorf("making a folder on the card: %w", err)
	}
	feed := newFeed(w.job.Card.Files, w.job.Packages, 1)
	go feed.run(ctx)
	defer feed.lanes[0].leave()
	if err := w.payload(ctx, feed.lanes[0]); err != nil {
		return Record{}, nil, err
	}
	running, err := feed.lanes[0].result()
	if err != nil {
		return Record{}, nil, err
	}
	record := w.job.Layout.Record(w.job.Card)
	for i := range record.Files {
		record.Files[i].Running = running[i]
	}
	contents, err := w.job.recordContents(&record)
	if err != nil {
		return Record{}, nil, err
	}
	names := []string{InstallOrderPath, RecordPath, SumsPath, SignaturePath}[:len(contents)]
	for i, content := range contents {
		if err := w.writeWhole(pendingName(len(record.Files)+i), content); err != nil {
			return Record{}, nil, err
		}
	}
	return record, names, nil
}

func (w *folderWriter) payload(ctx context.Context, in *lane) (err error) {
	var out *os.File
	current := -1
	finish := func() error {
		if out == nil {
			return nil
		}
		done := out
		out = nil
		return errors.Join(done.Sync(), done.Close())
	}
	defer func() { err = errors.Join(err, finish()) }()
	for b := range in.blocks {
		for _, s := range b.segments {
			for current < s.file && err == nil { // files of no bytes have no segment
				current++
				if err = finish(); err == nil {
					out, err = w.create(pendingName(current))
				}
			}
			if err == nil {
				_, err = out.Write(b.bytes[s.from:s.to])
			}
			if err == nil {
				err = ctx.Err()
			}
			w.written += int64(s.to - s.from)
			if w.job.Progress != nil {
				w.job.Progress(Writing, int64(s.to-s.from))
			}
		}
		b.release()
		if err != nil {
			return fmt.Errorf("writing %s: %w", w.job.Card.Files[max(current, 0)].Path, err)
		}
	}
	for current++; current < len(w.job.Card.Files); current++ {
		if w.job.Card.Files[current].Size > 0 {
			return nil // reading stopped early; the feed's result says why
		}
		if err := w.writeWhole(pendingName(current), nil); err != nil {
			return err
		}
	}
	return nil
}

func (w *folderWriter) create(name string) (*os.File, error) {
	return w.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
}

func (w *folderWriter) writeWhole(name string, content []byte) error {
	f, err := w.create(name)
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	_, err = f.Write(content)
	w.written += int64(len(content))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	return nil
}

// removeOld removes the files of our earlier card, its record first: no record may
// outlast its files.
func (w *folderWriter) removeOld(old []string) error {
	if i := slices.Index(old, RecordPath); i > 0 {
		old[0], old[i] = old[i], old[0]
	}
	for _, p := range old {
		if err := w.root.Remove(p); err != nil {
			return fmt.Errorf("removing what an earlier card left: %w", err)
		}
		w.oldGone = true
	}
	for _, p := range old {
		w.removeEmpty(path.Dir(p))
	}
	return nil
}

// removeEmpty removes a folder and those above it as long as they are empty. One
// that isn't stays, which is no fault.
func (w *folderWriter) removeEmpty(dir string) {
	for ; dir != "." && dir != "/"; dir = path.Dir(dir) {
		if w.root.Remove(dir) != nil {
			return
		}
	}
}

// rename gives every file its own name, the record last.
func (w *folderWriter) rename(own []string) error {
	at := map[string]string{}
	for i, f := range w.job.Card.Files {
		at[f.Path] = pendingName(i)
	}
	for i, p := range own {
		at[p] = pendingName(len(w.job.Card.Files) + i)
	}
	for _, p := range w.finalPaths() {
		if err := w.root.MkdirAll(path.Dir(p), 0o755); err != nil {
			return fmt.Errorf("making a folder on the card: %w", err)
		}
		if err := w.root.Rename(at[p], p); err != nil {
			return fmt.Errorf("renaming a file to %s: %w", p, err)
		}
		w.placed = append(w.placed, p)
	}
	if err := w.root.Remove(pendingFolder); err != nil {
		return fmt.Errorf("removing the folder of unfinished files: %w", err)
	}
	return w.syncFolders()
}

// syncFolders makes the names durable.
func (w *folderWriter) syncFolders() error {
	folders := map[string]bool{".": true}
	for _, p := range w.placed {
		for dir := path.Dir(p); dir != "."; dir = path.Dir(dir) {
			folders[dir] = true
		}
	}
	for dir := range folders {
		f, err := w.root.Open(dir)
		if err != nil {
			return fmt.Errorf("syncing folder %s: %w", dir, err)
		}
		if err := errors.Join(durable.SyncOpenFolder(f), f.Close()); err != nil {
			return fmt.Errorf("syncing folder %s: %w", dir, err)
		}
	}
	return nil
}

// takeBack undoes what a failed run has done, as far as it can.
func (w *folderWriter) takeBack(cause error) (FolderState, error) {
	if !w.started {
		return FolderUntouched, cause
	}
	if err := w.undo(); err != nil {
		return FolderUnknown, &notCleared{cause, err}
	}
	if w.oldGone {
		return FolderWithoutOld, cause
	}
	return FolderCleared, cause
}

// notCleared is a failure after which the folder could not be cleared.
type notCleared struct{ cause, clearing error }

func (e *notCleared) Error() string {
	return fmt.Sprintf("%v; and what was written could not be removed (%s)", e.cause, strings.ReplaceAll(e.clearing.Error(), "\n", "; "))
}

func (e *notCleared) Unwrap() []error { return []error{e.cause, e.clearing} }

// undo removes what this run has written, the record first.
func (w *folderWriter) undo() error {
	var errs []error
	for _, p := range slices.Backward(w.placed) {
		errs = append(errs, w.root.Remove(p))
	}
	for _, p := range w.placed {
		w.removeEmpty(path.Dir(p))
	}
	errs = append(errs, w.root.RemoveAll(pendingFolder))
	return errors.Join(errs...)
}
