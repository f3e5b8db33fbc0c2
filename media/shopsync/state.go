package shopsync

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/pattern"
)

// ownFolder is where a sync keeps its own files, in both folders.
const ownFolder = ".sync"

// state is what a shop remembers of another folder: what both had last, and what is
// in conflict. It never relies on what the other folder says of that.
type state struct {
	Format    int                 `json:"format"`
	Place     string              `json:"place"` // as it was named last
	Synced    time.Time           `json:"synced"`
	Both      map[string]string   `json:"both"` // digests of the files that both had last, by name
	Here      map[string]stamp    `json:"here"` // packages as they were read last
	There     map[string]stamp    `json:"there"`
	Conflicts map[string]Conflict `json:"conflicts"`
}

const maxState = 16 << 20

// Conflict is a file that was changed in both folders since both had the same.
type Conflict struct {
	File   string    `json:"file"`
	Place  string    `json:"place"`  // the other folder
	Ours   string    `json:"ours"`   // digest; "": removed here
	Theirs string    `json:"theirs"` // digest; "": removed there
	Seen   time.Time `json:"seen"`
	with   string    // id of the other folder
}

var folderID = pattern.Of(`^[0-9a-f]{32}$`)

// id is the name of a folder in syncs; "" where it has none yet.
func (f *folder) id() (string, error) {
	in, err := f.root.Open(ownFolder + "/id")
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer in.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(in, 64))
	if err != nil {
		return "", err
	}
	id := strings.TrimSpace(string(text))
	if !folderID.MatchString(id) {
		return "", fmt.Errorf("%s/%s/id isn't what cardwright wrote there: remove it, and sync as with a new folder", f.dir, ownFolder)
	}
	return id, nil
}

func (f *folder) giveID() (string, error) {
	var random [16]byte
	_, _ = rand.Read(random[:]) // never fails, by its documentation
	id := hex.EncodeToString(random[:])
	return id, f.write(ownFolder+"/id", []byte(id+"\n"))
}

// write puts one of the sync's own files in its place.
func (f *folder) write(name string, text []byte) error {
	if err := f.root.MkdirAll(path.Dir(name), 0o755); err != nil {
		return err
	}
	temp := name + ".unfinished"
	out, err := f.root.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644) // Windows syncs no file that was opened for reading
	if err != nil {
		return err
	}
	_, err = out.Write(text)
	if err := errors.Join(err, out.Sync(), out.Close()); err != nil {
		return errors.Join(err, f.root.Remove(temp))
	}
	if err := f.root.Rename(temp, name); err != nil {
		return err
	}
	return f.syncAbove(name)
}

func (f *folder) state(id string) (*state, error) {
	s := &state{Format: 1}
	in, err := f.root.Open(ownFolder + "/" + id + ".json")
	if err == nil {
		defer in.Close() // opened for reading only
		var text []byte
		text, err = io.ReadAll(io.LimitReader(in, maxState))
		if err == nil && (json.Unmarshal(text, s) != nil || s.Format != 1) {
			err = fmt.Errorf("%s/%s/%s.json isn't in the form that this cardwright reads: update cardwright, or remove it; then every file that differs is a conflict", f.dir, ownFolder, id)
		}
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	for _, m := range []*map[string]stamp{&s.Here, &s.There} {
		if *m == nil {
			*m = map[string]stamp{}
		}
	}
	if s.Both == nil {
		s.Both = map[string]string{}
	}
	if s.Conflicts == nil {
		s.Conflicts = map[string]Conflict{}
	}
	return s, nil
}

func (f *folder) save(id string, s *state) error {
	var text bytes.Buffer
	e := json.NewEncoder(&text)
	e.SetIndent("", " ")
	if err := e.Encode(s); err != nil {
		return err
	}
	return f.write(ownFolder+"/"+id+".json", text.Bytes())
}

// theirsAt is where the other folder's text of a file in conflict is kept.
func theirsAt(id, name string) string { return path.Join(ownFolder, "conflicts", id, name) }

// Conflicts are the files of a shop that are in conflict, by name.
func Conflicts(dir string) ([]Conflict, error) {
	f, err := openFolder(dir, packagesFolder)
	if err != nil {
		return nil, err
	}
	defer f.close() // opened for reading only
	return f.conflicts()
}

func (f *folder) conflicts() (list []Conflict, err error) {
	entries, err := fs.ReadDir(f.root.FS(), ownFolder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		id, is := strings.CutSuffix(e.Name(), ".json")
		if !is || !folderID.MatchString(id) {
			continue
		}
		s, err := f.state(id)
		if err != nil {
			return nil, err
		}
		for _, c := range s.Conflicts {
			c.with = id
			list = append(list, c)
		}
	}
	slices.SortFunc(list, func(a, b Conflict) int { return strings.Compare(a.File+"\x00"+a.with, b.File+"\x00"+b.with) })
	return list, nil
}

// Texts are the text here of a file in conflict, and that of the other folder; nil
// where it was removed there, or is no text.
func Texts(dir string, c Conflict) (ours, theirs []byte, err error) {
	f, err := openFolder(dir, packagesFolder)
	if err != nil {
		return nil, nil, err
	}
	defer f.close() // opened for reading only
	if isPackage(c.File) {
		return nil, nil, nil
	}
	if ours, err = f.text(c.File); errors.Is(err, fs.ErrNotExist) {
		ours, err = nil, nil
	}
	if err == nil && c.Theirs != "" {
		theirs, err = f.text(theirsAt(c.with, c.File))
	}
	return ours, theirs, err
}
