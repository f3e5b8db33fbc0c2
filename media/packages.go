package media

import (
	"archive/zip"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// Source is the package file that a file on a card comes from, or one member of it.
type Source struct {
	Model       string
	Version     version.V
	digest.File        // the package file, as the catalogue has it
	Member      string // of an archive; "" where the package file itself goes on the card
}

// SourceOf is a file of a release, as its maker published it.
func SourceOf(m *manifest.Model, r *manifest.Release, f *manifest.File) Source {
	return Source{Model: m.ID, Version: r.Version, File: digest.File{Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256}}
}

// PackageError is a package that is missing from the shop's folder, or differs from
// the catalogue. Nothing was written because of it.
type PackageError struct {
	Source Source
	Path   string // where it was looked for, or is
	problem.Problem
}

func (e *PackageError) Error() string {
	return fmt.Sprintf("package %s of %s %s: found %s, expected %s; %s (%s)",
		e.Source.Name, e.Source.Model, e.Source.Version, e.Found, e.Expected, e.Advice, e.Path)
}

// Packages is the shop's folder of package files.
type Packages struct {
	Dir string
	// Else, which may be nil, returns how to open a file that the folder lacks or has
	// with other bytes, or nil. What it opens is hashed like any package.
	Else func(Source) func() (io.ReadCloser, error)
}

// PackagesOf is the package folder of a shop.
func PackagesOf(shop *manifest.Shop) Packages {
	return Packages{Dir: filepath.Join(shop.Dir, filepath.FromSlash(shop.Packages))}
}

// Place is where a package file of this release belongs.
func (p Packages) Place(s Source) string {
	return filepath.Join(p.Dir, s.Model, versionFolder(s.Version), filepath.FromSlash(s.Name))
}

// PlaceApart is where it belongs when another file has that place: variants of a
// release may have files of the same name.
func (p Packages) PlaceApart(s Source) string {
	return filepath.Join(p.Dir, s.Model, versionFolder(s.Version), string(s.SHA256[:min(len(s.SHA256), apartDigits)]), filepath.FromSlash(s.Name))
}

// apartDigits is how many digits of the SHA-256 tell files of one name and release
// apart.
const apartDigits = 12

// Find is the path of a package file: where PlaceApart puts it,
// packages/<model>/<version>/<name>, or packages/<name>. It compares the size; the
// digest is compared while the file is read.
func (p Packages) Find(s Source) (string, error) {
	own := p.Place(s)
	var wrong *PackageError
	for _, path := range []string{p.PlaceApart(s), own, filepath.Join(p.Dir, filepath.FromSlash(s.Name))} {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			continue
		case err != nil:
			return "", fmt.Errorf("finding package %s: %w", s.Name, err)
		case info.Mode().IsRegular() && info.Size() == s.Size:
			return path, nil
		}
		wrong = &PackageError{s, path, problem.Problem{Expected: Bytes(s.Size), Found: foundThere(info), Advice: "download it again"}}
	}
	if wrong != nil {
		return "", wrong
	}
	return "", &PackageError{
		s, own, problem.Problem{
			Expected: "a file of " + Bytes(s.Size), Found: "no such file",
			Advice: "download it from its maker and put it there",
		},
	}
}

// There is nil when a file is at hand. Nothing of it is read.
func (p Packages) There(s Source) error {
	_, err := p.Find(s)
	if err != nil && p.Elsewhere(s) {
		return nil
	}
	return err
}

// Elsewhere reports whether all of these can be had from Else.
func (p Packages) Elsewhere(all ...Source) bool {
	return p.Else != nil && !slices.ContainsFunc(all, func(s Source) bool { return p.Else(s) == nil })
}

// whereFound is the path of a package that was found before.
func (p Packages) whereFound(s Source) string {
	path, err := p.Find(s)
	if err != nil {
		return p.Dir
	}
	return path
}

func foundThere(info fs.FileInfo) string {
	if !info.Mode().IsRegular() {
		return "something that isn't a plain file"
	}
	return Bytes(info.Size())
}

// Open opens what goes on the card: the package file or a member of it. Size and
// digest are for the caller to compare.
func (p Packages) Open(s Source) (io.ReadCloser, error) {
	if p.Else != nil {
		if open := p.Else(s); open != nil && p.Check(s, nil) != nil {
			return open()
		}
	}
	path, err := p.Find(s)
	if err != nil {
		return nil, err
	}
	if s.Member != "" {
		return OpenMember(path, s)
	}
	// O_NONBLOCK: a pipe that took the file's place holds nobody up, and Go
	// doesn't ask the kernel four times whether a plain file can wait.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("opening package: %w", err)
	}
	return f, nil
}

// OpenMember opens the member of the archive at path that a source names.
func OpenMember(path string, s Source) (io.ReadCloser, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening package: %w", err)
	}
	in, err := memberOf(f, path, s)
	if err != nil {
		f.Close()
		return nil, err
	}
	return memberReader{in, f}, nil
}

// memberOf finds a member of an archive that may hold anything.
func memberOf(archive io.ReaderAt, path string, s Source) (io.ReadCloser, error) {
	z, err := ReadArchive(archive, s.Size)
	if err != nil {
		return nil, &PackageError{s, path, problem.Problem{Expected: "a zip archive", Found: err.Error(), Advice: "download it again"}}
	}
	for _, member := range z.File {
		if member.Name != s.Member {
			continue
		}
		content, err := member.Open()
		if err != nil {
			return nil, &PackageError{s, path, problem.Problem{Expected: "member " + s.Member, Found: err.Error(), Advice: "download it again"}}
		}
		return content, nil
	}
	return nil, &PackageError{s, path, problem.Problem{Expected: "member " + s.Member, Found: "no such member", Advice: "compare the catalogue with the archive"}}
}

// ReadArchive reads the list of members of a zip archive that may hold anything,
// within bounds.
func ReadArchive(archive io.ReaderAt, size int64) (*zip.Reader, error) {
	list := &listReader{archive, mostListBytes}
	z, err := zip.NewReader(list, size)
	list.left = math.MaxInt64
	return z, err
}

// mostListBytes bounds an archive's list of members, which is held in memory. A
// list of 10,000 takes about half of it.
const mostListBytes = 2 << 20

// listReader reads so many bytes of an archive and no more.
type listReader struct {
	io.ReaderAt
	left int64
}

func (r *listReader) ReadAt(p []byte, off int64) (int, error) {
	if r.left -= int64(len(p)); r.left < 0 {
		return 0, fmt.Errorf("a list of members longer than %s", Bytes(mostListBytes))
	}
	return r.ReaderAt.ReadAt(p, off)
}

// memberReader closes the archive with its member.
type memberReader struct {
	io.ReadCloser
	archive io.Closer
}

func (m memberReader) Close() error {
	return errors.Join(m.ReadCloser.Close(), m.archive.Close())
}

// Check reads one package file to its end and compares its digest. progress, which
// may be nil, gets the number of bytes of each read.
func (p Packages) Check(s Source, progress func(n int)) error {
	path, err := p.Find(s)
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("reading package: %w", err)
	}
	defer f.Close()
	sum := sha256.New()
	buffer := make([]byte, 1<<20)
	for {
		n, err := f.Read(buffer)
		sum.Write(buffer[:n])
		if progress != nil {
			progress(n)
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return fmt.Errorf("reading package: %w", err)
		}
	}
	if got := digest.Sum(sum); got != s.SHA256 {
		return s.differs(path, s.SHA256, got)
	}
	return nil
}

func (s Source) differs(path string, expected, found digest.SHA256) *PackageError {
	return &PackageError{
		s, path, problem.Problem{
			Expected: "SHA-256 " + string(expected), Found: "SHA-256 " + string(found),
			Advice: "download it again; if that changes nothing, compare the catalogue with what the maker publishes",
		},
	}
}
