package manifest

import (
	"fmt"
	"slices"

	"cardwright/manifest/samename"
)

// MaxFATFile is the largest file that FAT32 holds, in bytes (Microsoft FAT32
// File System Specification v1.03).
const MaxFATFile Size = 1<<32 - 1

// onCard is one file as it will be on a card.
type onCard struct {
	name string
	size Size
	from *Source
}

// contents lists what a file of a release puts on the card.
func contents(f *File) []onCard {
	if f.Unpack == "" {
		return []onCard{{f.Name, f.Size, &f.Source}}
	}
	all := make([]onCard, len(f.Members))
	for i, m := range f.Members {
		all[i] = onCard{m.Name, m.Size, &m.Source}
	}
	return all
}

// files checks a release's files; reader is a model that reads them from a
// FAT card, or nil.
func (c *checker) files(r *Release, reader *Model) {
	taken := map[string]taken{}
	for _, f := range r.Files {
		c.members(f)
		for _, o := range contents(f) {
			if reader != nil && o.size > MaxFATFile {
				c.mistake(o.from.At("size"), "file too large for FAT32", fmt.Sprintf("%d bytes", o.size),
					fmt.Sprintf("at most %d bytes (4 GiB − 1 byte), since the cards of %s are FAT32", MaxFATFile, reader.ID), "")
			}
			c.place(taken, o)
		}
	}
	c.touch(r)
}

// touch reports a file to be touched that the release doesn't have.
func (c *checker) touch(r *Release) {
	var all []string
	for _, f := range r.Files {
		for _, o := range contents(f) {
			if o.name == "" {
				return // a mistake of its own, which may explain this one
			}
			all = append(all, o.name)
		}
	}
	for i, name := range r.Touch {
		if name != "" && !slices.Contains(all, name) {
			c.mistake(r.At(entryKey("touch", i)), "no such file in the release", quote(name), "one of "+list(all)+", as named on the card", nearest(name, all))
		}
	}
}

// members reports an archive of which the catalogue doesn't say what is inside, and
// members of what isn't unpacked.
func (c *checker) members(f *File) {
	switch {
	case f.Unpack != "" && !f.given("members"):
		c.mistake(f.At("unpack"), "archive without members", "no members", "members: name, size and sha256 of each file inside that goes on the card", "")
	case f.Unpack != "" && len(f.Members) == 0 && !c.faulty[f.At("").File]:
		c.mistake(f.At("members"), "archive without members", "an empty list", "name, size and sha256 of each file inside that goes on the card", "")
	case len(f.Members) > 0 && !f.given("unpack"):
		c.mistake(f.At("members"), "members of a file that is not unpacked", "no unpack", "unpack: zip", "")
	}
}

// fatReader returns a model that reads m's packages from cards that can only be FAT: m
// itself, or one that passes updates on to it; nil where there is none.
func (c *checker) fatReader(m *Model) *Model {
	if onlyFAT(m) {
		return m
	}
	for _, host := range c.shop.Models {
		if onlyFAT(host) && slices.Contains(host.PassesOn, m.ID) {
			return host
		}
	}
	return nil
}

func onlyFAT(m *Model) bool {
	return m.Card != nil && len(m.Card.FileSystems) > 0 && !slices.Contains(m.Card.FileSystems, "exfat")
}

// taken is a path that a release already uses on the card.
type taken struct {
	name   string
	folder bool
	at     Pos
}

// place notes the path of a file and its folders, and reports a clash. FAT
// takes names that differ only in case for one.
func (c *checker) place(paths map[string]taken, o onCard) {
	if o.name == "" {
		return
	}
	at := o.from.At("name")
	for end := range len(o.name) {
		if o.name[end] == '/' && !c.take(paths, taken{o.name[:end], true, at}, o.name) {
			return
		}
	}
	c.take(paths, taken{o.name, false, at}, o.name)
}

func (c *checker) take(paths map[string]taken, t taken, name string) bool {
	key := samename.Key(t.name)
	first, ok := paths[key]
	if !ok {
		paths[key] = t
		return true
	}
	if t.folder && first.folder && t.name == first.name {
		return true
	}
	c.mistake(t.at, "names that clash on a card", quote(name),
		fmt.Sprintf("a path that differs from all others by more than capitals; line %d has %s", first.at.Line, quote(first.name)), "")
	return false
}
