package manifest

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const emptyDigest = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" // SHA-256 of nothing, FIPS 180-4

// smallShop is a shop without a mistake; the tests put one in.
var smallShop = map[string]string{
	"shop.yaml": `shop: Hollin Quay Marine Electrics
`,
	"catalogue/plot.yaml": `model: fennick-plot-12
maker: Fennick
name: Plot 12 chart display
kind: chart display
card:
  least: 4GB
  most: 32GB
  file_systems: [fat32]
  slot: microSD
  folder: any
passes_on: [fennick-sweep-2]
releases:
  - version: 1.10
    released: 2026-03-02
    files:
      - {name: plot12.upd, size: 412345678, sha256: ` + emptyDigest + `}
      - name: more.zip
        size: 1000
        sha256: ` + emptyDigest + `
        unpack: zip
        members:
          - {name: more/a.bin, size: 400, sha256: ` + emptyDigest + `}
    over: ">= 3.0"
    needs:
      - {model: fennick-sweep-2, version: ">= 1.8", by: end}
    minutes: 20
    way_back: false
    settings: kept
    after: [version shown, heading against course]
  - version: 3.1-40
    released: 2025-05-19
`,
	"catalogue/sweep.yaml": `model: fennick-sweep-2
maker: Fennick
name: Sweep 2 radar
kind: radar
releases:
  - version: "1.8"
    released: 2025-09-29
    files:
      - {name: sweep2.img, size: 9437184, sha256: ` + emptyDigest + `}
`,
	"vessels/kittiwake.yaml": `vessel: kittiwake
name: Kittiwake
identity: {imo: "1234567", mmsi: "200000001"}
devices:
  - id: flybridge
    model: fennick-plot-12
    serial: 00231
    version: 1.10
    hold: < 5
    hold_why: the owner's wish
  - id: helm
    model: fennick-plot-12
    version: unknown
  - id: radar
    model: fennick-sweep-2
    version: 1.6
    through: [flybridge, helm]
`,
}

// changed is the small shop with one text of one file replaced by another.
func changed(t testing.TB, file, old, new string) map[string]string {
	t.Helper()
	files := maps.Clone(smallShop)
	require.Equal(t, 1, strings.Count(files[file], old), "%q in %s", old, file)
	files[file] = strings.Replace(files[file], old, new, 1)
	return files
}

// write makes a shop folder of these files.
func write(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		to := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.WriteFile(to, []byte(text), 0o644))
	}
	return dir
}

// mistakes loads a shop folder that has some.
func mistakes(t testing.TB, dir string) Mistakes {
	t.Helper()
	shop, err := Load(dir)
	require.Error(t, err)
	require.Nil(t, shop)
	var ms Mistakes
	require.True(t, errors.As(err, &ms), "%v", err)
	return ms
}
