package shopsync

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
)

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
