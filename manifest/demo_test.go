package manifest_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/testdata/demo/packages"
)

// TestDemoCatalogueAgreesWithItsPackages makes every package of the demo shop
// and compares it with what the catalogue says.
func TestDemoCatalogueAgreesWithItsPackages(t *testing.T) {
	shop, err := manifest.Load(filepath.Join("..", "testdata", "shop"))
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(shop.Vessels), 3)
	assert.GreaterOrEqual(t, len(shop.Models), 7)
	var sum manifest.Size
	for _, p := range packages.Packages(shop) {
		all, err := p.Digests()
		require.NoError(t, err)
		for _, d := range all {
			assert.Equal(t, d.Said.Size, d.Size, d.Path)
			assert.Equal(t, d.Said.SHA256, d.SHA256, "%s: see go run ./testdata/demo -digests", d.Path)
		}
		sum += p.File.Size
	}
	assert.InDelta(t, 200e6, float64(sum), 10e6)
}

// TestDemoArchive reads the one archive with a general zip reader.
func TestDemoArchive(t *testing.T) {
	shop, err := manifest.Load(filepath.Join("..", "testdata", "shop"))
	require.NoError(t, err)
	archives := 0
	for _, p := range packages.Packages(shop) {
		if p.File.Unpack != manifest.UnpackZip {
			continue
		}
		archives++
		var b bytes.Buffer
		require.NoError(t, p.Make(&b))
		z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
		require.NoError(t, err)
		require.Len(t, z.File, len(p.File.Members))
		for i, m := range p.File.Members {
			assert.Equal(t, m.Name, z.File[i].Name)
			r, err := z.File[i].Open()
			require.NoError(t, err)
			data, err := io.ReadAll(r)
			require.NoError(t, err)
			assert.Equal(t, string(m.SHA256), digestOf(data))
		}
	}
	assert.Equal(t, 1, archives)
}

// TestWriteDemoShop writes the whole demo shop and looks at it from outside.
func TestWriteDemoShop(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "shop")
	require.NoError(t, packages.Write(dir))
	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	for _, p := range packages.Packages(shop) {
		name := filepath.Join(dir, "packages", filepath.FromSlash(p.Path))
		info, err := os.Stat(name)
		require.NoError(t, err)
		assert.Equal(t, int64(p.File.Size), info.Size(), p.Path)
		if p.File.Size > 2e6 {
			continue // TestDemoCatalogueAgreesWithItsPackages hashes them all
		}
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.Equal(t, string(p.File.SHA256), digestOf(data), p.Path)
	}
}

func digestOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
