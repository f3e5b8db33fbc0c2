package verify

import (
	"io"
	"time"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/verify/fatread"
)

// file is one file or folder on a card. Its digests are "" and nil unless it
// was read to its end.
type file struct {
	media.RecordFile
	dir      bool
	hidden   bool
	short    string // the name in capitals, 8 and 3 characters, that goes with a long one; "": none, or not known
	place    int64  // files are read in the order of their place
	modified time.Time
	err      error // why it couldn't be read to its end
	open     func() (io.ReadCloser, error)
	at       io.ReaderAt // nil where it can only be read from its start
}

// is reports whether the whole file was read and has this digest.
func (f *file) is(sha256 digest.SHA256) bool { return f != nil && f.SHA256 != "" && f.SHA256 == sha256 }

// content is a small file's content.
func (f *file) content() ([]byte, error) {
	in, err := f.open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	return io.ReadAll(io.LimitReader(in, media.MaxRecordBytes))
}

// head is the first bytes of a file; fewer where it can't be read.
func (f *file) head() string {
	in, err := f.open()
	if err != nil {
		return ""
	}
	defer in.Close()
	var head [4]byte
	n, _ := io.ReadFull(in, head[:])
	return string(head[:n])
}

// files are the files and folders of a card, in the order of its directories.
type files struct {
	all    []*file
	byPath map[string]*file
	byKey  map[string]*file // of several, the first
}

func listed(all []*file) files {
	l := files{all: all, byPath: map[string]*file{}, byKey: map[string]*file{}}
	for _, f := range all {
		if _, ok := l.byPath[f.Path]; !ok {
			l.byPath[f.Path] = f
		}
		if _, ok := l.byKey[key(f.Path)]; !ok {
			l.byKey[key(f.Path)] = f
		}
	}
	return l
}

// at is what is at a path: under just that name, or else under one in
// other letter case. nil: nothing does.
func (l files) at(path string) *file {
	if f, ok := l.byPath[path]; ok {
		return f
	}
	return l.byKey[key(path)]
}

// fileAt is a file, and no folder, at a path.
func (l files) fileAt(path string) *file {
	if f := l.at(path); f != nil && !f.dir {
		return f
	}
	return nil
}

// isAt reports whether this is what is at a path.
func (l files) isAt(f *file, path string) bool {
	at := l.at(path)
	return at != nil && at.Path == f.Path
}

// filledFolders are the keys of the folders with a file in them.
func (l files) filledFolders() map[string]bool {
	filled := map[string]bool{}
	for _, f := range l.all {
		for p := parentOf(key(f.Path)); p != "" && !f.dir; p = parentOf(p) {
			filled[p] = true
		}
	}
	return filled
}

// recordFolder reads the small files of the record's folder, by path. What
// can't be read is reported when all files are hashed.
func (l files) recordFolder() map[string][]byte {
	own := map[string][]byte{}
	for _, path := range []string{media.RecordPath, media.SumsPath, media.SignaturePath} {
		f := l.fileAt(path)
		if f == nil || f.Size > media.MaxRecordBytes {
			continue
		}
		if content, err := f.content(); err == nil {
			own[path] = content
		}
	}
	return own
}

// filesOf are the files of a volume.
func filesOf(v *fatread.Volume) files {
	all := make([]*file, len(v.Entries))
	for i, e := range v.Entries {
		all[i] = &file{
			RecordFile: media.RecordFile{Path: e.Path, Size: e.Size},
			dir:        e.Dir, hidden: e.Hidden || e.System, short: e.ShortName, place: int64(e.First), modified: e.Modified,
			open: func() (io.ReadCloser, error) { return io.NopCloser(v.Open(e)), nil },
			at:   v.OpenAt(e),
		}
	}
	return listed(all)
}
