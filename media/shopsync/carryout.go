package shopsync

import (
	"context"
	"errors"
	"fmt"
)

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
