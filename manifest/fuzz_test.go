package manifest

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// FuzzLoad decodes and checks one model file beside the small shop's others,
// as Load would. Whatever its bytes: no panic, bounded numbers of everything,
// a place for every mistake; and what is accepted is whole.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(smallShop[plot]))
	for _, s := range append(append([]seeded{}, structural...), semantic...) {
		if s.file == plot && len(s.new) < 1000 {
			f.Add([]byte(changed(f, s.file, s.old, s.new)[s.file]))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > MaxFileBytes {
			return
		}
		shop, ms := loadModel(data)
		assert.LessOrEqual(t, len(ms), MaxMistakes)
		for _, m := range ms {
			assert.GreaterOrEqual(t, m.At.Line, 1)
			assert.GreaterOrEqual(t, m.At.Column, 1)
			assert.NotEmpty(t, m.What)
			assert.NotEmpty(t, m.Found)
			assert.NotEmpty(t, m.Expected)
			for _, text := range []string{m.What, m.Found, m.Expected, m.Advice} {
				assert.LessOrEqual(t, len(text), 1000)
				_, bad := firstRefused(text)
				assert.False(t, bad, "%q", text)
			}
		}
		if len(ms) == 0 {
			m := shop.Models[0]
			assert.NotEmpty(t, m.ID)
			for _, r := range m.Releases {
				assert.NotEmpty(t, r.Version)
				assert.False(t, r.Released.IsZero())
				for _, file := range r.Files {
					assert.Empty(t, pathProblem(file.Name))
					assert.Len(t, file.SHA256, 64)
				}
			}
		}
	})
}

func loadModel(data []byte) (*Shop, Mistakes) {
	var found collector
	shop := &Shop{Models: []*Model{{}, {}}, Vessels: []*Vessel{{}}}
	decodeFile(plot, data, shop.Models[0], &found)
	faulty := map[string]bool{plot: len(found.all) > 0}
	decodeFile(sweep, []byte(smallShop[sweep]), shop.Models[1], &found)
	decodeFile(boat, []byte(smallShop[boat]), shop.Vessels[0], &found)
	c := checker{shop: shop, found: &found, faulty: faulty}
	c.check()
	return shop, found.sorted()
}
