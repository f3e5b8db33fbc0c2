package drive

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"cardwright/manifest/durable"
	"cardwright/media/place"
)

// Image is a card's bytes in a file. One that is being made is next to its final
// name until Commit.
type Image struct {
	*store
	target string // where Commit puts it; "" once committed, abandoned, or opened for reading
}

// OpenImage opens an image file for reading. It is never written to, and its times
// stay. Bytes after the last whole sector are left out.
func OpenImage(path string) (*Image, error) {
	img, err := openReading("opening image "+path, path)
	if err != nil {
		return nil, err
	}
	if img.bytes < sectorSize {
		err := fmt.Errorf("opening image %s: %w: it holds %d bytes, expected at least one sector of %d", path, ErrNotImage, img.bytes, sectorSize)
		return nil, errors.Join(err, img.Close())
	}
	img.bytes -= img.bytes % sectorSize
	return img, nil
}

// OpenFile opens a plain file of any length for reading, past the system's cache
// where that can be done: a file on a mounted card.
func OpenFile(path string) (*Image, error) {
	return openReading("opening "+path, path)
}

func openReading(doing, path string) (*Image, error) {
	if err := mustBeFile(doing, path); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, faultOf(image, doing, err)
	}
	size, err := sizeOf(f)
	if err != nil {
		return nil, errors.Join(faultOf(image, doing, err), f.Close())
	}
	img := &Image{store: newStore(path, f, size, false)}
	img.openDirect()
	return img, nil
}

// CreateImage begins an image file of that many bytes, all zero and sparse, next to
// path. Until Commit nothing at path changes. The leftovers of a killed run for the
// same path are removed.
func CreateImage(path string, bytes int64) (*Image, error) {
	doing := "creating image " + path
	if bytes <= 0 || bytes%sectorSize != 0 {
		return nil, fmt.Errorf("%s: %d bytes, expected a whole number of %d-byte sectors", doing, bytes, sectorSize)
	}
	target, err := resolve(path)
	if err != nil {
		return nil, faultOf(image, doing, err)
	}
	if err := mustBeFile(doing, target); err != nil && !errors.Is(err, ErrMissing) {
		return nil, err
	}
	if err := place.MayMake(path); err != nil {
		return nil, fmt.Errorf("creating image: %w", err)
	}
	if err := removeLeftovers(target); err != nil {
		return nil, fmt.Errorf("%s: %w", doing, err)
	}
	return createBeside(doing, target, bytes)
}

func createBeside(doing, target string, bytes int64) (*Image, error) {
	f, err := durable.Create(target, 0o666)
	if err != nil {
		return nil, faultOf(image, doing, err)
	}
	img := &Image{store: newStore(f.Name(), f, bytes, true), target: target}
	if err := img.claim(); err != nil {
		return nil, errors.Join(faultOf(image, doing, err), img.Abandon())
	}
	img.openDirect()
	return img, nil
}

// claim gives the file its length, once it is sure that no other run removed it.
func (i *Image) claim() error {
	// Between the creation and the lock another run could have taken it for a
	// leftover.
	if _, err := os.Lstat(i.path); err != nil {
		return err
	}
	makeSparse(i.plain)
	return i.plain.Truncate(i.bytes)
}

func newStore(path string, f *os.File, bytes int64, writing bool) *store {
	return &store{path: path, kind: image, bytes: bytes, sector: sectorSize, writing: writing, plain: f}
}

// AllZero reports that nothing was written to an image that is being made: it needs
// no blanking.
func (i *Image) AllZero() bool { return i.target != "" && !i.touched.Load() }

// Commit gives the finished image its final name, durably: when it returns nil,
// name and bytes are on the disk. The image is closed. On an error the final name
// still has what it had before.
func (i *Image) Commit() error {
	if i.target == "" {
		return fmt.Errorf("committing image %s: it is not being made", i.path)
	}
	doing := "committing image " + i.target
	if err := i.Sync(); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	if err := i.closeFiles(); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	if err := durable.Rename(i.path, i.target); err != nil {
		return faultOf(image, doing, err)
	}
	i.path, i.target = i.target, ""
	return nil
}

// Abandon removes an image that was not committed. After Commit, and for one opened
// for reading, it does nothing.
func (i *Image) Abandon() error {
	if i.target == "" {
		return nil
	}
	i.target = ""
	err := i.closeFiles()
	if removing := os.Remove(i.path); removing != nil && !errors.Is(removing, fs.ErrNotExist) {
		err = errors.Join(err, faultOf(image, "removing unfinished image "+i.path, removing))
	}
	return err
}

// Close closes an image opened for reading, and abandons one being made.
func (i *Image) Close() error {
	if i.target != "" {
		return i.Abandon()
	}
	return i.closeFiles()
}

// resolve follows symbolic links, so that an image replaces the file and not the
// link to it.
func resolve(path string) (string, error) {
	target, err := filepath.EvalSymlinks(path)
	if errors.Is(err, fs.ErrNotExist) {
		return path, nil
	}
	return target, err
}

func mustBeFile(doing, path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return faultOf(image, doing, err)
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("%s: %w but %s", doing, ErrNotImage, whatIs(info.Mode()))
	}
	return nil
}

func whatIs(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeDevice != 0 && mode&fs.ModeCharDevice == 0:
		return "a drive"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeCharDevice != 0:
		return "a device without blocks, such as a terminal"
	}
	return "something that isn't a plain file"
}

func isLeftoverOf(target, name string) bool {
	of, ok := durable.Finished(name)
	return ok && of == filepath.Base(target)
}

// removeLeftovers removes what killed runs left next to target. One that another run
// is still writing is an error.
func removeLeftovers(target string) error {
	entries, err := os.ReadDir(filepath.Dir(target))
	if err != nil {
		return faultOf(image, "looking for unfinished images", err)
	}
	for _, entry := range entries {
		if !entry.Type().IsRegular() || !isLeftoverOf(target, entry.Name()) {
			continue
		}
		if err := removeLeftover(filepath.Join(filepath.Dir(target), entry.Name())); err != nil {
			return err
		}
	}
	return nil
}

func removeLeftover(path string) error {
	doing := "removing unfinished image " + path
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return faultOf(image, doing, err)
	}
	// A free lock says that the writer is gone. It ends with f.
	if err := errors.Join(durable.Lock(f), f.Close()); err != nil {
		return faultOf(image, doing, err)
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return faultOf(image, doing, err)
	}
	return nil
}
