// Package packages makes the demo shop, with package files whose bytes follow
// from their paths alone, so that sizes and digests in its catalogue hold on
// every machine without the files being kept anywhere.
package packages

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"strings"

	"golang.org/x/sync/errgroup"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/testdata"
)

// atOnce is how many package files are made at a time.
const atOnce = 4

// Write makes the demo shop in the folder dir, which it creates: the shop's
// own files, and about 200 MB of package files. Files that are there already
// are replaced.
func Write(dir string) error {
	if err := Copy(dir); err != nil {
		return err
	}
	shop, err := manifest.Load(dir)
	if err != nil {
		return fmt.Errorf("making demo shop: %w", err)
	}
	var g errgroup.Group
	g.SetLimit(atOnce)
	for _, p := range Packages(shop) {
		g.Go(func() error { return p.writeBelow(filepath.Join(dir, shop.Packages)) })
	}
	if err := g.Wait(); err != nil {
		return fmt.Errorf("making demo shop: %w", err)
	}
	return nil
}

// Copy writes the demo shop's own files to the folder dir, without packages.
func Copy(dir string) error {
	err := fs.WalkDir(testdata.Shop, "shop", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := testdata.Shop.ReadFile(name)
		if err != nil {
			return err
		}
		to := filepath.Join(dir, filepath.FromSlash(strings.TrimPrefix(name, "shop/")))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		return os.WriteFile(to, text, 0o644)
	})
	if err != nil {
		return fmt.Errorf("copying demo shop: %w", err)
	}
	return nil
}

// Package is one package file of the demo shop.
type Package struct {
	Path string // <model>/<version>/<name>
	File *manifest.File

	date manifest.Date
}

// Packages lists every package file that the catalogue names.
func Packages(shop *manifest.Shop) []Package {
	var all []Package
	for _, m := range shop.Models {
		for _, r := range m.Releases {
			for _, f := range r.Files {
				all = append(all, Package{path.Join(m.ID, string(r.Version), f.Name), f, r.Released})
			}
		}
	}
	return all
}

func (p Package) writeBelow(dir string) error {
	name := filepath.Join(dir, filepath.FromSlash(p.Path))
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := p.Make(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// Make writes the package's bytes.
func (p Package) Make(w io.Writer) error {
	if p.File.Unpack == "" {
		_, err := io.Copy(w, content(p.Path, p.File.Size))
		return err
	}
	z := zip.NewWriter(w)
	for _, m := range p.File.Members {
		// Stored, not packed: a packer's bytes may change with its version.
		entry, err := z.CreateHeader(&zip.FileHeader{Name: m.Name, Method: zip.Store, Modified: p.date.Time})
		if err != nil {
			return err
		}
		if _, err := io.Copy(entry, p.member(m)); err != nil {
			return err
		}
	}
	return z.Close()
}

func (p Package) member(m *manifest.Member) io.Reader {
	return content(path.Join(p.Path, m.Name), m.Size)
}

// content gives size bytes that follow from name: lines of text for .txt,
// noise for everything else.
func content(name string, size manifest.Size) io.Reader {
	var source io.Reader = rand.NewChaCha8(sha256.Sum256([]byte(name)))
	if path.Ext(name) == ".txt" {
		source = &lines{text: "Invented release notes of " + path.Dir(name) + ".\r\n"}
	}
	return io.LimitReader(source, int64(size))
}

// lines repeats its text without end.
type lines struct {
	text string
	at   int
}

// Read implements io.Reader.
func (l *lines) Read(p []byte) (int, error) {
	n := copy(p, l.text[l.at:])
	l.at = (l.at + n) % len(l.text)
	return n, nil
}

// Digest is the size and SHA-256 of one file as it is made.
type Digest struct {
	Path   string // of a member: the archive's path, a slash, the member's name
	Size   manifest.Size
	SHA256 string
	Said   struct { // by the catalogue
		Size   manifest.Size
		SHA256 string
	}
}

// Digests makes a package's bytes without keeping them, and returns the
// digests of the file and of its members.
func (p Package) Digests() ([]Digest, error) {
	h := sha256.New()
	n := &counter{w: h}
	if err := p.Make(n); err != nil {
		return nil, err
	}
	all := []Digest{digestOf(p.Path, n.n, h.Sum(nil), p.File.Size, p.File.SHA256)}
	for _, m := range p.File.Members {
		h.Reset()
		size, err := io.Copy(h, p.member(m))
		if err != nil {
			return nil, err
		}
		all = append(all, digestOf(path.Join(p.Path, m.Name), size, h.Sum(nil), m.Size, m.SHA256))
	}
	return all, nil
}

func digestOf(name string, size int64, sum []byte, saidSize manifest.Size, said digest.SHA256) Digest {
	d := Digest{Path: name, Size: manifest.Size(size), SHA256: hex.EncodeToString(sum)}
	d.Said.Size, d.Said.SHA256 = saidSize, string(said)
	return d
}

type counter struct {
	w io.Writer
	n int64
}

// Write implements io.Writer.
func (c *counter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}
