package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"golang.org/x/sys/unix"
)

// line is one comparison of the table.
type line struct {
	what, where, rival string
	ours, theirs       time.Duration // medians
	ratios             []float64     // of runs of the same round, ascending
	most               float64       // 0: no limit
}

// fact is something that is counted and not timed.
type fact struct {
	what, found string
	met         bool
}

// measure runs a contest's sides in turn, beginning with another one each
// round, so that what else the machine does falls on all of them.
func (b *bench) measure(ctx context.Context, c contest) error {
	defer remove(slices.Concat(c.made, c.kept))
	if c.start != nil {
		if _, err := c.start(ctx); err != nil {
			return err
		}
	}
	sides := []side{c.ours}
	for _, r := range c.rivals {
		sides = append(sides, r.run)
	}
	rounds := make([][]took, b.runs)
	for i := range rounds {
		fmt.Fprintf(os.Stderr, "\r\033[K%s, %s, %d of %d", c.what, c.place.name, i+1, b.runs)
		rounds[i] = make([]took, len(sides))
		for k := range sides {
			n := (i + k) % len(sides)
			if err := b.rest(c); err != nil {
				return err
			}
			var err error
			if rounds[i][n], err = sides[n](ctx); err != nil {
				return err
			}
		}
		if err := b.look(c, rounds[i][0]); err != nil {
			return err
		}
	}
	fmt.Fprint(os.Stderr, "\r\033[K")
	b.conclude(c, rounds)
	return nil
}

// rest removes what the last side made and lets the disk come to rest.
func (b *bench) rest(c contest) error {
	if err := remove(c.made); err != nil {
		return err
	}
	if c.place.disk {
		unix.Sync()
	}
	return nil
}

func remove(paths []string) (err error) {
	for _, path := range paths {
		err = errors.Join(err, os.RemoveAll(path))
	}
	return err
}

func (b *bench) look(c contest, ours took) error {
	if c.look == nil {
		return nil
	}
	f, err := c.look(ours)
	if err != nil {
		return fmt.Errorf("%s: %w", c.what, err)
	}
	if i := slices.IndexFunc(b.facts, func(g fact) bool { return g.what == f.what }); i >= 0 {
		b.facts[i].met = b.facts[i].met && f.met
		return nil
	}
	b.facts = append(b.facts, f)
	return nil
}

func (b *bench) conclude(c contest, rounds [][]took) {
	peak := int64(0)
	for _, round := range rounds {
		peak = max(peak, round[0].peak)
	}
	if c.memory {
		b.facts = append(b.facts, fact{
			what:  "memory: " + c.what + ", " + c.place.name,
			found: fmt.Sprintf("%.1f MB at most, limit 64 MB", float64(peak)/1e6), met: peak < 64e6,
		})
	}
	for n, r := range c.rivals {
		l := line{what: c.what, where: c.place.name, rival: r.name, most: r.most}
		var ours, theirs []time.Duration
		for _, round := range rounds {
			ours, theirs = append(ours, round[0].wall), append(theirs, round[n+1].wall)
			l.ratios = append(l.ratios, float64(round[0].wall)/float64(round[n+1].wall))
		}
		slices.Sort(l.ratios)
		l.ours, l.theirs = median(ours), median(theirs)
		b.lines = append(b.lines, l)
	}
}

func median[T time.Duration | float64](all []T) T {
	sorted := slices.Sorted(slices.Values(all))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// bytesWritten compares what prepare wrote with what the card needs: payload
// and folders in whole clusters, and all before them, FATs included.
func (b *bench) bytesWritten(s shop, p place) func(took) (fact, error) {
	return func(t took) (fact, error) {
		var answer struct {
			Cards []struct {
				Written int64 `json:"bytes_written"`
			} `json:"cards"`
		}
		if err := json.Unmarshal(t.out, &answer); err != nil || len(answer.Cards) != 1 {
			return fact{}, fmt.Errorf("reading prepare's answer: %w", err)
		}
		needed, err := s.used()
		if err != nil {
			return fact{}, err
		}
		wrote := max(answer.Cards[0].Written, t.written)
		over := float64(wrote-needed) / float64(needed)
		return fact{
			what: fmt.Sprintf("written: %d files, %s", s.count, p.name), met: over <= 0.01,
			found: fmt.Sprintf("%.1f MB, needed %.1f MB: %+.2f %%, limit +1 %%", float64(wrote)/1e6, float64(needed)/1e6, 100*over),
		}, nil
	}
}

// readOnce compares what was read for all cards with the packages' size.
func (b *bench) readOnce(t took) (fact, error) {
	var m moved
	if err := json.Unmarshal(t.out, &m); err != nil {
		return fact{}, fmt.Errorf("reading what was moved: %w", err)
	}
	return fact{
		what: fmt.Sprintf("read from packages for %d cards", len(m.Written)), met: m.Read < b.slow.bytes+b.slow.bytes/1000,
		found: fmt.Sprintf("%.1f MB of %.1f MB", float64(m.Read)/1e6, float64(b.slow.bytes)/1e6),
	}, nil
}
