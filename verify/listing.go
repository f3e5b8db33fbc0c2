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

// Listing is what a card seems to hold, by its directories alone: enough to
// decide what would be lost with it, no proof of anything.
type Listing struct {
	FileSystem string        // "" where there is none that can be read
	Other      string        // what a part of the card holds that can't be read here; "" for none
	Record     *media.Record // the record on the card; nil where there is none that can be read
	Label      string
	Foreign    []ListedFile // files that the record doesn't list
	Root       []string     // names in the root folder
	Unread     bool         // something couldn't be read, so there may be more
	Blank      bool         // it begins with zeros, as a card does that holds no file system

	sizes map[string]int64 // of files, by key
}

// ListedFile is one file by its directory entry.
type ListedFile struct {
	Path     string
	Size     int64
	Modified time.Time // zero where the card doesn't say
}

// List lists a card.
func List(read io.ReaderAt, bytes int64) Listing {
	card := fatread.Read(read, bytes, fatread.DefaultLimits)
	l := Listing{sizes: map[string]int64{}}
	for _, f := range card.Faults {
		l.Unread = l.Unread || f.Unread()
	}
	for i := range card.Volumes {
		if card.Volumes[i].ClusterBytes == 0 {
			continue // named and not read
		}
		l.FileSystem, l.Label = card.Volumes[i].FileSystem, card.Volumes[i].Label
		l.take(filesOf(&card.Volumes[i]))
	}
	l.whatElse(card, blankHead(read, bytes))
	return l
}

// ListFolder lists a mounted card.
func ListFolder(dir string) Listing {
	all, odd := walk(dir)
	l := Listing{FileSystem: "a folder", Unread: len(odd) > 0, sizes: map[string]int64{}}
	for _, f := range all {
		path := filepath.Join(dir, filepath.FromSlash(f.Path))
		f.open = func() (io.ReadCloser, error) {
			image, err := drive.OpenFile(path)
			if err != nil {
				return nil, err
			}
			return &mediumFile{Reader: io.NewSectionReader(image, 0, image.Bytes()), image: image, cached: new(int)}, nil
		}
	}
	l.take(listed(all))
	return l
}

// FileBytes is how many bytes the files hold by their directory entries.
func (l Listing) FileBytes() (sum int64) {
	for _, n := range l.sizes {
		sum += n
	}
	return sum
}

func (l *Listing) take(on files) {
	for _, f := range on.all {
		if !strings.Contains(f.Path, "/") {
			l.Root = append(l.Root, f.Path)
		}
		if !f.dir {
			l.sizes[key(f.Path)] = f.Size
		}
	}
	l.Record = readRecord(onCard{own: on.recordFolder()}, Expected{FromRecord: true}).is
	ours := l.ours()
	for _, f := range on.all {
		if o, ok := ours[key(f.Path)]; f.dir || ok && on.isAt(f, o.Path) && (o.Size < 0 || o.Size == f.Size) {
			continue
		}
		l.Foreign = append(l.Foreign, ListedFile{f.Path, f.Size, f.modified})
	}
}

// ours are the files that the record accounts for, with their sizes, and the
// record's own files, whose sizes it doesn't list (-1).
func (l *Listing) ours() map[string]media.RecordFile {
	ours := map[string]media.RecordFile{}
	if l.Record == nil {
		return ours
	}
	for _, f := range append(l.Record.Files, l.Record.InstallOrder) {
		ours[key(f.Path)] = f
	}
	for _, p := range []string{media.RecordPath, media.SumsPath, media.SignaturePath} {
		ours[key(p)] = media.RecordFile{Path: p, Size: -1}
	}
	return ours
}

// Is reports whether a card is, by its record, the one of which r is the record or
// an earlier making of the same: same shop, vessel and number, and nothing of
// anybody else's with it.
func (l Listing) Is(r media.Record) bool {
	have := l.Record
	return have != nil && have.Shop == r.Shop && have.Vessel == r.Vessel && have.Card == r.Card && !l.HasOthers()
}

// HasOthers reports whether something is lost with a card that no record lists:
// files, what couldn't be read, or something that is not a file system known here.
func (l Listing) HasOthers() bool {
	return len(l.Foreign) > 0 || l.Unread || l.unknown()
}

// unknown reports a card with something on it that is no file system known here.
func (l Listing) unknown() bool { return l.FileSystem == "" && !l.Blank }

// lacking counts the record's files that aren't there, by name and size.
func (l Listing) lacking() (n int) {
	for _, f := range l.Record.Files {
		if size, ok := l.sizes[key(f.Path)]; !ok || size != f.Size {
			n++
		}
	}
	return n
}
