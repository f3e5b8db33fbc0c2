package main

import (
	"bufio"
	"crypto/sha256"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// vessel is the invented one that everything is prepared for.
const vessel = "kittiwake"

// shop is a shop folder whose vessel needs one card.
type shop struct {
	dir     string
	size    string   // of the card, as --size has it
	files   []string // paths of the package files
	folders []string // one for each model
	count   int      // of files
	bytes   int64    // of files
}

// makeShop makes a shop of so many models, each with a release of so many
// files of size bytes, and a vessel with one device of each.
func makeShop(dir, cardSize string, models, files, size int) (shop, error) {
	s := shop{dir: dir, size: cardSize, count: models * files, bytes: int64(models) * int64(files) * int64(size)}
	random := rand.NewChaCha8([32]byte([]byte("the same bytes at every run, so!")))
	boat := &strings.Builder{}
	fmt.Fprintf(boat, "vessel: %s\nname: Kittiwake\ndevices:\n", vessel)
	for m := range models {
		model := fmt.Sprintf("fennick-plot-%d", m+1)
		s.folders = append(s.folders, filepath.Join(dir, "packages", model))
		list, err := s.packages(random, model, files, size)
		if err != nil {
			return s, err
		}
		if err := write(filepath.Join(dir, "catalogue", model+".yaml"), catalogue(model, list)); err != nil {
			return s, err
		}
		fmt.Fprintf(boat, "  - {id: plot-%d, model: %s, version: \"1.0\", place: helm}\n", m+1, model)
	}
	if err := write(filepath.Join(dir, "vessels", vessel+".yaml"), boat.String()); err != nil {
		return s, err
	}
	return s, write(filepath.Join(dir, "shop.yaml"), "shop: Hollin Quay Marine Electrics\n")
}

func catalogue(model, files string) string {
	return fmt.Sprintf(`model: %s
maker: Fennick
name: %s chart display
kind: chart display
card: {least: 4GB, most: 32GB, file_systems: [fat32], slot: microSD, folder: any}
releases:
  - version: "2.0"
    released: 2026-03-02
    minutes: 20
    files:
%s`, model, model, files)
}

// packages writes the files of a release, a hundred to a folder where there
// are many, and gives their lines in the catalogue.
func (s *shop) packages(random io.Reader, model string, files, size int) (string, error) {
	list := &strings.Builder{}
	folder := filepath.Join(s.dir, "packages", model, "2.0")
	for i := range files {
		name := fmt.Sprintf("chart-data-%04d.upd", i)
		if files > 100 {
			name = fmt.Sprintf("part-%02d/%s", i/100, name)
		}
		path := filepath.Join(folder, name)
		digest, err := fill(path, io.LimitReader(random, int64(size)))
		if err != nil {
			return "", err
		}
		s.files = append(s.files, path)
		fmt.Fprintf(list, "      - {name: %s, size: %d, sha256: %s}\n", name, size, digest)
	}
	return list.String(), nil
}

func fill(path string, content io.Reader) (digest string, err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", err
	}
	f, err := os.Create(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	out := bufio.NewWriterSize(f, 1<<20)
	if _, err := io.Copy(io.MultiWriter(out, sum), content); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", sum.Sum(nil)), out.Flush()
}

func write(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, []byte(text), 0o644)
}

// job is the one card that the vessel needs, and the size of the card.
func (s shop) job() (media.Job, int64, error) {
	loaded, err := manifest.Load(s.dir)
	if err != nil {
		return media.Job{}, 0, err
	}
	boat := loaded.Vessel(vessel)
	plan, err := order.Make(loaded, boat)
	if err != nil {
		return media.Job{}, 0, err
	}
	size, err := media.ImageBytes(s.size)
	if err != nil {
		return media.Job{}, 0, err
	}
	layout, _, err := media.Lay(loaded, boat, plan, size)
	if err != nil {
		return media.Job{}, 0, err
	}
	if len(layout.Cards) != 1 {
		return media.Job{}, 0, fmt.Errorf("%d cards laid out, expected 1", len(layout.Cards))
	}
	return media.Job{Layout: layout, Card: layout.Cards[0], Packages: media.PackagesOf(loaded)}, size, nil
}

// used is how many bytes of the card stand before the end of its last file.
func (s shop) used() (int64, error) {
	job, bytes, err := s.job()
	if err != nil {
		return 0, err
	}
	layout, err := job.Prepare(bytes)
	if err != nil {
		return 0, err
	}
	g := layout.Geometry()
	return g.DataOffset() + g.UsedBytes(), nil
}

// card is the size of the card in bytes.
func (s shop) card() string {
	bytes, err := media.ImageBytes(s.size)
	if err != nil {
		panic(err) // it stands in this program
	}
	return strconv.FormatInt(bytes, 10)
}
