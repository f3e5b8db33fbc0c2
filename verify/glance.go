package verify

import (
	"io"
	"path/filepath"
	"strings"
	"time"

	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify/fatread"
)

// Glance is what a card seems to hold, by its directories alone: enough to
// decide what would be lost with it, no proof of anything.
type Glance struct {
	FileSystem string        // "" where there is none that can be read
	Other      string        // what a part of the card holds that can't be read here; "" for none
	Record     *media.Record // the record on the card; nil where there is none that can be read
	Label      string
	Foreign    []Seen   // files that the record doesn't list
	Root       []string // names in the root folder
	Unread     bool     // something couldn't be read, so there may be more
	Blank      bool     // it begins with zeros, as a card does that holds no file system

	sizes map[string]int64 // of files, by key
}

// Seen is one file by its directory entry.
type Seen struct {
	Path     string
	Size     int64
	Modified time.Time // zero where the card doesn't say
}

// LookAt glances at a card.
func LookAt(read io.ReaderAt, bytes int64) Glance {
	card := fatread.Read(read, bytes, fatread.DefaultLimits)
	g := Glance{sizes: map[string]int64{}}
	for _, f := range card.Faults {
		g.Unread = g.Unread || f.Unread()
	}
	for i := range card.Volumes {
		if card.Volumes[i].ClusterBytes == 0 {
			continue // named and not read
		}
		g.FileSystem, g.Label = card.Volumes[i].FileSystem, card.Volumes[i].Label
		g.look(filesOf(&card.Volumes[i], read))
	}
	g.whatElse(card, blankHead(read, bytes))
	return g
}

// LookAtFolder glances at a mounted card.
func LookAtFolder(dir string) Glance {
	r := newReport()
	files, err := walk(dir, r)
	g := Glance{FileSystem: "a folder", Unread: err != nil || len(r.Findings) > 0, sizes: map[string]int64{}}
	for i := range files {
		path := filepath.Join(dir, filepath.FromSlash(files[i].path))
		files[i].open = func() (io.ReadCloser, error) {
			f, err := drive.OpenFile(path)
			if err != nil {
				return nil, err
			}
			return &mediumFile{Reader: io.NewSectionReader(f, 0, f.Bytes()), image: f, cached: new(int)}, nil
		}
	}
	g.look(files)
	return g
}

// FileBytes is how many bytes the files hold by their directory entries.
func (g Glance) FileBytes() (sum int64) {
	for _, n := range g.sizes {
		sum += n
	}
	return sum
}

func (g *Glance) look(files []file) {
	j := judging{report: newReport(), files: files}
	j.index()
	for _, f := range files {
		if !strings.Contains(f.path, "/") {
			g.Root = append(g.Root, f.path)
		}
		if !f.dir {
			g.sizes[key(f.path)] = f.size
		}
	}
	g.Record = j.readRecord()
	listed := g.listed()
	for _, f := range files {
		if l, ok := listed[key(f.path)]; f.dir || ok && j.isAt(f, l.Path) && (l.Size < 0 || l.Size == f.size) {
			continue
		}
		g.Foreign = append(g.Foreign, Seen{f.path, f.size, f.modified})
	}
}

// listed are the files that the record accounts for, with their sizes, and
// the record's own files, whose sizes it doesn't tell (-1).
func (g *Glance) listed() map[string]media.RecordFile {
	listed := map[string]media.RecordFile{}
	if g.Record == nil {
		return listed
	}
	for _, f := range append(g.Record.Files, g.Record.InstallOrder) {
		listed[key(f.Path)] = f
	}
	for _, p := range []string{media.RecordPath, media.SumsPath, media.SignaturePath} {
		listed[key(p)] = media.RecordFile{Path: p, Size: -1}
	}
	return listed
}
