package fat32

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf16"

	"cardwright/manifest/samename"
)

const (
	entrySize = 32
	// mostEntries is the specification's limit of 2 MiB for a folder.
	mostEntries = 65_536
)

// node is one name in a folder: a file, or a folder in it.
type node struct {
	name   string
	long   []uint16 // the name in UTF-16; nil where the short name says it all
	short  shortName
	folder *folder // nil for a file
	file   int     // index in the spec's files
}

// folder is one directory. Its nodes keep the order of the spec's files.
type folder struct {
	parent  *folder // nil for the root
	path    string
	nodes   []*node
	byName  map[string]*node // by samename.Key
	entries int              // directory entries, those of long names too
	first   uint32           // first cluster
	count   uint32           // clusters
}

func newFolder(parent *folder, path string) *folder {
	// The root's label takes one entry; `.` and `..` take two elsewhere.
	entries := 1
	if parent != nil {
		entries = 2
	}
	return &folder{parent: parent, path: path, byName: map[string]*node{}, entries: entries}
}

// foldersOf are the root and every folder below it, parents first, in the order of
// their first file.
func foldersOf(files []File) ([]*folder, error) {
	folders := []*folder{newFolder(nil, "")}
	for i, f := range files {
		if f.Size < 0 || f.Size > mostFileBytes {
			return nil, &sizeError{Path: f.Path, Size: f.Size}
		}
		added, err := addPath(folders[0], f.Path, i)
		if err != nil {
			return nil, err
		}
		folders = append(folders, added...)
	}
	for _, d := range folders {
		if err := d.shorten(); err != nil {
			return nil, err
		}
	}
	return folders, nil
}

// addPath adds a file and the folders above it; added are the new folders.
func addPath(at *folder, path string, file int) (added []*folder, err error) {
	if n := units(path); n > mostPathUnits {
		return nil, badName(path, "the path is too long: "+strconv.Itoa(n)+" UTF-16 units", "at most "+strconv.Itoa(mostPathUnits))
	}
	for from := 0; ; {
		slash := strings.IndexByte(path[from:], '/')
		if slash < 0 {
			return added, at.add(&node{name: path[from:], file: file}, path)
		}
		end := from + slash
		next, isNew, err := at.subfolder(path[from:end], path[:end])
		if err != nil {
			return nil, err
		}
		if isNew {
			added = append(added, next)
		}
		at, from = next, end+1
	}
}

// subfolder finds the folder of that name, or makes it.
func (d *folder) subfolder(name, path string) (sub *folder, isNew bool, err error) {
	if n := d.byName[samename.Key(name)]; n != nil && n.folder != nil && n.name == name {
		return n.folder, false, nil
	}
	sub = newFolder(d, path)
	return sub, true, d.add(&node{name: name, folder: sub}, path)
}

func (d *folder) add(n *node, path string) error {
	if problem, expected := nameProblem(n.name); problem != "" {
		return badName(path, problem, expected)
	}
	key := samename.Key(n.name)
	if other := d.byName[key]; other != nil {
		return nameClash(path, n, other)
	}
	if !isShort(n.name) {
		n.long = utf16.Encode([]rune(n.name))
	}
	d.byName[key] = n
	d.nodes = append(d.nodes, n)
	d.entries += 1 + n.longEntries()
	if d.entries > mostEntries {
		return badName(path, "its folder is full", fmt.Sprintf("at most %d entries in a folder, those of long names included", mostEntries))
	}
	return nil
}

func nameClash(path string, n, other *node) error {
	problem := fmt.Sprintf("the name differs from %q only in case: on FAT32 they are one name", other.name)
	switch {
	case n.name == other.name && (n.folder == nil) == (other.folder == nil):
		problem = "two files have this path"
	case n.name == other.name:
		problem = "a file and a folder have this path"
	}
	return badName(path, problem, "names that differ in more than capitals")
}

// shorten gives every node its short name.
func (d *folder) shorten() error {
	names := make([]string, len(d.nodes))
	for i, n := range d.nodes {
		names[i] = n.name
	}
	s := newShortener(names)
	for _, n := range d.nodes {
		short, ok := s.short(n.name)
		if !ok {
			return badName(d.path, "no short name is left for "+strconv.Quote(n.name), "fewer similar names in one folder")
		}
		n.short = short
	}
	return nil
}

// longEntries is the number of long-name entries that the node needs.
func (n *node) longEntries() int {
	return (len(n.long) + unitsPerEntry - 1) / unitsPerEntry
}
