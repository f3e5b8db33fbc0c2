package verify

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"cardwright/media"
	"cardwright/media/drive"
)

// maxFolderEntries bounds how much of a folder is read.
const maxFolderEntries = 100_000

// onFolder is what reading a folder finds besides its files.
type onFolder struct {
	odd        []oddEntry // what is no file and no folder, or couldn't be read
	fileSystem string     // that it stands on, where that is one which devices don't read; "": not known, or FAT
	cached     int        // files that may have come from a cache
}

// oddEntry is an entry of a folder that is neither a file nor a folder, or that
// couldn't be read.
type oddEntry struct {
	path string // "": the folder itself
	what string // kind of entry, or the error
	err  bool
}

// readFolder reads a card that is mounted, or any folder that stands for one.
func readFolder(ctx context.Context, dir string, progress Progress) onCard {
	all, odd := walk(dir)
	c := onCard{folder: &onFolder{odd: odd, fileSystem: mountedAs(dir)}}
	for i, f := range all {
		f.place = int64(i)
		f.open = func() (io.ReadCloser, error) { return openPastCache(dir, f.Path, &c.folder.cached) }
	}
	for _, o := range odd {
		c.blind = c.blind || o.err
	}
	c.files = listed(all)
	c.own = c.files.recordFolder()
	c.stopped = hashAll(ctx, c.files, progress)
	return c
}

func walk(dir string) (all []*file, odd []oddEntry) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, []oddEntry{{"", err.Error(), true}}
	}
	defer root.Close()
	err = fs.WalkDir(root.FS(), ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			odd = append(odd, oddEntry{p, err.Error(), true})
			return nil
		case p == ".":
			return nil
		case len(all)+len(odd) >= maxFolderEntries:
			return fmt.Errorf("more than %d entries", maxFolderEntries)
		case !d.IsDir() && !d.Type().IsRegular():
			odd = append(odd, oddEntry{p, d.Type().String(), false})
			return nil
		}
		f := &file{RecordFile: media.RecordFile{Path: p}, dir: d.IsDir()}
		if info, err := d.Info(); err == nil && !f.dir {
			f.Size, f.modified = info.Size(), info.ModTime()
		}
		all = append(all, f)
		return nil
	})
	if err != nil {
		odd = append(odd, oddEntry{"", err.Error(), true})
	}
	return all, odd
}

// openPastCache opens a file so that its bytes come from the medium, where
// the system can do that, and counts it where it can't.
func openPastCache(dir, path string, cached *int) (io.ReadCloser, error) {
	image, err := drive.OpenFile(filepath.Join(dir, filepath.FromSlash(path)))
	if err != nil {
		return nil, err
	}
	if err := image.Forget(); err != nil {
		image.Close()
		return nil, err
	}
	return &mediumFile{io.NewSectionReader(image, 0, image.Bytes()), image, cached}, nil
}

type mediumFile struct {
	io.Reader
	image  *drive.Image
	cached *int
}

func (f *mediumFile) Close() error {
	if !f.image.FromMedium() {
		*f.cached++
	}
	return f.image.Close()
}
