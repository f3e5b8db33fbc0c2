package shopsync

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
)

// change is one file that goes from one folder to the other, or is removed.
type change struct {
	name    string
	here    bool   // it is this folder that changes
	digest  string // what is to be there; "": nothing
	instead string // what is there; "": nothing
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
		if !some { // nothing of theirs is named: the mistake was here already
			return
		}
	}
}
