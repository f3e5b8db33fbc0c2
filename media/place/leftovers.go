package place

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest/durable"
)

// Pending is the folder that holds the files of a card while a mounted one is
// written.
const Pending = "_card.pending"

// Leftover is what a killed run has left.
type Leftover struct {
	Path  string    `json:"path"`
	Of    string    `json:"of"`    // what it should have become
	Bytes int64     `json:"bytes"` // 0 of a folder
	Since time.Time `json:"since"` // when it was last written to
}

// Leftovers are those in a folder, by name, but for what another run is still
// writing, as far as its lock shows.
func Leftovers(folder string) ([]Leftover, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("looking for leftovers: %w", err)
	}
	var found []Leftover
	for _, e := range entries {
		if l, ok := leftover(folder, e); ok {
			found = append(found, l)
		}
	}
	return found, nil
}

// maxEntries bounds how much of a folder's tree is searched.
const maxEntries = 100_000

// LeftoversBelow are those in a folder and everywhere below it.
func LeftoversBelow(folder string) (found []Leftover, err error) {
	count := 0
	err = filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if count++; err != nil || count > maxEntries {
			return err
		}
		if path == folder {
			return nil
		}
		l, ok := leftover(filepath.Dir(path), e)
		if ok {
			found = append(found, l)
		}
		if ok && e.IsDir() {
			return fs.SkipDir
		}
		return nil
	})
	switch {
	case err != nil:
		return found, fmt.Errorf("looking for leftovers: %w", err)
	case count > maxEntries:
		return found, fmt.Errorf("looking for leftovers: more than %d files and folders", maxEntries)
	}
	return found, nil
}

func leftover(folder string, e fs.DirEntry) (Leftover, bool) {
	of, ok := durable.Finished(e.Name())
	switch {
	case e.IsDir() && e.Name() == Pending:
		of, ok = "a card in this folder", true
	case !ok || !e.Type().IsRegular():
		return Leftover{}, false
	}
	path := filepath.Join(folder, e.Name())
	info, err := e.Info()
	if err != nil || !isFree(path) {
		return Leftover{}, false // deleted meanwhile, or in use
	}
	l := Leftover{Path: path, Of: of, Since: info.ModTime()}
	if !e.IsDir() {
		l.Bytes = info.Size()
	}
	return l, ok
}

// isFree reports that nobody has a file or folder locked: its writer is gone.
func isFree(path string) bool {
	if filepath.Base(path) == Pending {
		path = filepath.Dir(path) // the lock is on the folder of the card
	}
	f, err := os.Open(path)
	if err != nil {
		return !errors.Is(err, fs.ErrNotExist)
	}
	defer f.Close() // which gives up the lock
	return durable.Lock(f) == nil
}

// Write is durable.Write where a file may be made.
func Write(path string, content io.Reader) error {
	if err := MayMake(path); err != nil {
		return err
	}
	return durable.Write(path, 0o666, content)
}

// Remove is the command that removes a leftover in the shells of an operating
// system, by its name in Go; quote makes a word of a path. rmdir means one thing to
// cmd and another to PowerShell, so cmd runs it.
func (l Leftover) Remove(system string, quote func(string) string) string {
	folder := filepath.Base(l.Path) == Pending
	how := "rm "
	switch {
	case system == "windows" && folder:
		how = "cmd /c rmdir /s "
	case system == "windows":
		how = "del "
	case folder:
		how = "rm -r "
	}
	return how + quote(l.Path)
}
