package readiness_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/media/intake"
	"cardwright/media/readiness"
)

func shop(t *testing.T) *manifest.Shop {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"shop.yaml":        "shop: Hollin Quay Marine Electrics\n",
		"catalogue/f.yaml": "model: solveld-fix-2\nmaker: Solveld\nname: Fix 2\nkind: heading sensor\nreleases:\n  - {version: \"1.4\", released: 2026-03-02, withdrawn: loses its heading}\n",
		"vessels/k.yaml":   "vessel: kittiwake\nname: Kittiwake\ndevices:\n  - {id: heading, model: solveld-fix-2, version: \"1.4\"}\n",
		"vessels/s.yaml":   "vessel: skerry-light\nname: Skerry Light\ndevices:\n  - {id: heading, model: solveld-fix-2, version: unknown}\n",
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	s, err := manifest.Load(dir)
	require.NoError(t, err)
	return s
}

// What concerns a vessel on today's list comes first; a withdrawn release aboard
// is reported and stops no visit, a version that nobody has read does.
func TestMostUrgentFirst(t *testing.T) {
	s := shop(t)
	r := readiness.Of(s, []*manifest.Vessel{s.Vessel("skerry-light")}, intake.Inventory{}, time.Now(), time.Hour, nil)
	assert.Equal(t, []string{"skerry-light"}, r.Today)
	assert.Equal(t, []string{"skerry-light"}, r.Unfit)
	assert.False(t, r.Served())
	require.Len(t, r.Tasks, 2)
	assert.Equal(t, readiness.Today, r.Tasks[0].Urgency)
	assert.True(t, r.Tasks[0].Stops)
	assert.Equal(t, readiness.Soon, r.Tasks[1].Urgency)
	assert.Equal(t, "kittiwake", r.Tasks[1].Vessel)
	assert.Contains(t, r.Tasks[1].Fact, "withdrawn: loses its heading")

	r = readiness.Of(s, []*manifest.Vessel{s.Vessel("kittiwake")}, intake.Inventory{}, time.Now(), time.Hour, nil)
	assert.True(t, r.Served(), "the other vessel's want is for another day")
	assert.Equal(t, []string{"skerry-light"}, r.Unfit)
}

// A catalogue file that nobody touched for longer than the age given is reported, by
// its days; it stops nothing.
func TestOldCatalogue(t *testing.T) {
	s := shop(t)
	then := time.Now().Add(40 * 24 * time.Hour)
	r := readiness.Of(s, []*manifest.Vessel{s.Vessel("kittiwake")}, intake.Inventory{}, then, 30*24*time.Hour, nil)
	last := r.Tasks[len(r.Tasks)-1]
	assert.Equal(t, readiness.Tidy, last.Urgency)
	assert.Contains(t, last.Fact, "it has not changed for 40 days")
	assert.True(t, r.Served())
}
