package shopsync

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"time"
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
