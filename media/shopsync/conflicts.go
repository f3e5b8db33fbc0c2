package shopsync

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"
)

// Conflict is a file that was changed in both folders since both had the same.
type Conflict struct {
	File   string    `json:"file"`
	Place  string    `json:"place"`  // the other folder
	Ours   string    `json:"ours"`   // digest; "": removed here
	Theirs string    `json:"theirs"` // digest; "": removed there
	Seen   time.Time `json:"seen"`
	with   string    // id of the other folder
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
