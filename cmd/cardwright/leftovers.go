package main

import (
	"fmt"
	"path/filepath"
	"runtime"
	"slices"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/place"
	"cardwright/media/readiness"
	"cardwright/verify/prepare"
)

// removal is the command that takes a leftover away.
func removal(l place.Leftover) string { return l.Remove(runtime.GOOS, media.ShellWord) }

// tellLeft reports leftovers of killed runs next to the targets. Those of
// the targets themselves are cleared away as they are written.
func (p *preparing) tellLeft(run *prepare.Run) {
	var made, folders []string
	for _, t := range run.Targets {
		if t.Kind == drive.ImageFile {
			made = append(made, t.Path)
		}
	}
	if p.options.saveFirst != "" {
		made = append(made, p.options.saveFirst)
	}
	for _, path := range made {
		if folder := filepath.Dir(path); !slices.Contains(folders, folder) {
			folders = append(folders, folder)
		}
	}
	for _, folder := range folders {
		left, err := place.Leftovers(folder)
		if err != nil {
			continue // reported when something is made there
		}
		for _, l := range left {
			if !slices.Contains(made, filepath.Join(folder, l.Of)) {
				fmt.Fprintln(p.session.errs, lines(fmt.Sprintf("A run that was cut off has left %s (%s). To remove it:\n  %s", l.Path, media.Bytes(l.Bytes), removal(l))))
			}
		}
	}
}

// leftInShop are the tasks of taking away what killed runs left in a shop folder.
func leftInShop(shop *manifest.Shop) []readiness.Task {
	var tasks []readiness.Task
	left, err := place.LeftoversBelow(shop.Dir)
	for _, l := range left {
		file, relErr := filepath.Rel(shop.Dir, l.Path)
		if relErr != nil {
			file = l.Path
		}
		tasks = append(tasks, readiness.Task{
			Urgency: readiness.Tidy, Fact: "a run that was cut off has left this of " + l.Of,
			At: manifest.Pos{File: filepath.ToSlash(file)}, Do: removal(l),
		})
	}
	if err != nil {
		tasks = append(tasks, readiness.Task{Urgency: readiness.Tidy, Fact: err.Error(), At: manifest.Pos{File: manifest.ShopFile}, Do: "look at the shop folder"})
	}
	return tasks
}
