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

// maxFolderEntries bounds how much of a folder is looked at.
const maxFolderEntries = 100_000

// Folder judges a card that is mounted, or any folder that stands for one.
// Its file system can't be judged this way, and what may have come from a
// cache is said to be so.
func Folder(ctx context.Context, dir string, expected *Expected, progress Progress) Report {
	r := newReport()
	r.expects(expected)
	files, err := walk(dir, r)
	if err != nil {
		r.add(unreadable("", -1, err.Error()))
	}
	blind := r.unchecked
	cached := 0
	for i := range files {
		f := &files[i]
		f.place = int64(i)
		f.open = func() (io.ReadCloser, error) { return openPastCache(dir, f.path, &cached) }
	}
	r.mountedOn(dir, expected)
	j := judging{ctx: ctx, report: r, files: files, expected: expected, progress: progress, blind: blind}
	j.judge()
	if cached > 0 {
		r.AddCached(fmt.Sprintf("%d files that may have come from a cache", cached))
	}
	r.add(Finding{
		Kind: FolderOnly, Severity: Note,
		Expected: "a drive or an image", Found: "a folder",
		Meaning: "The files were judged; the file system that holds them was not.",
		Advice:  "To judge all of the card, verify its drive, which cardwright readers lists: " + r.asked.verifying("DRIVE"),
	})
	r.conclude()
	return *r
}

// mountedOn tells of a file system that the devices don't read, as far as the
// system says what a folder stands on.
func (r *Report) mountedOn(dir string, expected *Expected) {
	name := mountedAs(dir)
	if name == behindDriver {
		r.add(Finding{
			Kind: UncommonLayout, Severity: Warn, Expected: "a FAT32 file system", Found: name,
			Meaning: "As a rule that is exFAT or NTFS, which devices do not read; the system does not tell which.",
			Advice:  "Verify the drive, not the folder: " + r.asked.verifying("DRIVE"),
		})
	} else if name != "" {
		r.fileSystem(name, expected)
	}
}

// behindDriver is a file system of which the system knows nothing.
const behindDriver = "one that a driver outside the system serves (FUSE)"

// AddCached adds that what was read may have come from a cache.
func (r *Report) AddCached(found string) {
	r.Add(Finding{
		Kind: NotFromMedium, Severity: Warn,
		Expected: "reads from the card itself", Found: found,
		Meaning: "What stands on the card itself is not proven.",
		Advice:  "Take the card out, put it in again, and verify its drive, which cardwright readers lists: " + r.asked.verifying("DRIVE"),
	})
}

// AddImageOnly adds what the verdict on an image can't say. The file owes no
// more than to hold what was written to it; the card is proven on the card.
func (r *Report) AddImageOnly() {
	r.Add(Finding{
		Kind: ImageOnly, Severity: Note,
		Expected: "a card", Found: "an image file",
		Meaning: "The file was judged. Its copy on a card can still fail.",
		Advice:  "Once it is copied, verify the card itself, whose drive cardwright readers lists: " + r.asked.verifying("DRIVE"),
	})
}

func walk(dir string, r *Report) ([]file, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	var files []file
	err = fs.WalkDir(root.FS(), ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			r.add(unreadable(p, -1, err.Error()))
			return nil
		case p == ".":
			return nil
		case len(files) == maxFolderEntries:
			return fmt.Errorf("more than %d entries", maxFolderEntries)
		case !d.IsDir() && !d.Type().IsRegular():
			r.add(Finding{
				Kind: ExtraFile, Severity: Stop, Path: p, Expected: "a plain file", Found: d.Type().String(),
				Meaning: "Such a thing cannot stand on a card.", Advice: "Remove it.",
			})
			return nil
		}
		f := file{path: p, dir: d.IsDir()}
		if info, err := d.Info(); err == nil && !f.dir {
			f.size, f.modified = info.Size(), info.ModTime()
		}
		files = append(files, f)
		return nil
	})
	return files, err
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

var _ media.Medium = (*drive.Image)(nil)
