package media_test

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/media"
)

// Measured bytes of cards as they are sold: the three of nominal 32 GB and the
// one of nominal 8 GB were read in dumps of such cards. 14.8 GiB for 16 GB is
// what its maker prints, 3.69 GiB for 4 GB is from memory. That vessel
// electronics take cards from 4 GB to 32 GB is common practice, no source.
// The bands (standard to 2 GB, high capacity to 32 GB, extended above) are the
// SD Association's.
func TestCardsAsSoldAndMeasured(t *testing.T) {
	limits := media.LimitsOf(&manifest.CardRules{Least: 4e9, Most: 32e9})
	for name, c := range map[string]struct {
		bytes int64
		fits  bool
	}{
		"nominal 2 GB, all of it":       {2_000_000_000, false},
		"2 GiB, the most of its band":   {2 << 30, false},
		"nominal 4 GB":                  {3_961_963_315 / 512 * 512, true},
		"nominal 8 GB":                  {7_948_206_080, true},
		"nominal 16 GB":                 {15_891_378_995 / 512 * 512, true},
		"a nominal 32 GB":               {31_914_983_424, true},
		"another":                       {31_439_454_208, true},
		"a third":                       {32_023_511_040, true},
		"32 GB to the byte":             {32_000_000_000, true},
		"nominal 64 GB, 5 % short":      {60_800_000_000, false},
		"nominal 64 GB":                 {64_000_000_000, false},
		"64 GiB":                        {64 << 30, false},
		"nothing":                       {0, false},
		"a reader that answers wrongly": {-512, false},
	} {
		assert.Equal(t, c.fits, limits.Check(c.bytes) == nil, name)
	}
}

// What refuses a card says how large it is and what was expected, in the same
// units, and what to do.
func TestLimitsSayWhatToDo(t *testing.T) {
	limits := media.LimitsOf(&manifest.CardRules{Least: 4e9, Most: 32e9})
	assert.EqualError(t, limits.Check(2_000_000_000),
		"the card holds 2.00 GB (2,000,000,000 bytes); these devices read cards sold as 4 GB or more, which hold at least 3.68 GB (3,680,000,000 bytes): use a larger card")
	assert.EqualError(t, limits.Check(63_864_569_856),
		"the card holds 63.86 GB (63,864,569,856 bytes); these devices read cards sold as 32 GB or less, which hold at most 33.60 GB (33,600,000,000 bytes): use a smaller card")
}

// An image of a nominal size fits every real card of that size that was seen,
// and is within the limits of a device that reads just that size.
func TestImageOfANominalSizeFitsRealCards(t *testing.T) {
	for size, real := range map[string][]int64{
		"8GB":  {7_948_206_080},
		"16GB": {15_891_378_995},
		"32GB": {31_914_983_424, 31_439_454_208, 32_023_511_040},
		"4GB":  {3_961_963_315},
	} {
		n, err := media.ImageBytes(size)
		require.NoError(t, err)
		for _, bytes := range real {
			assert.LessOrEqual(t, n, bytes, size)
		}
		nominal := manifest.Size(n / 96 * 100 / 1e9 * 1e9)
		nominal += manifest.Size(1e9)
		only := media.LimitsOf(&manifest.CardRules{Least: nominal, Most: nominal})
		assert.NoError(t, only.Check(n), size)
		assert.Zero(t, n%(4<<20), size)
	}
}

func TestImageBytes(t *testing.T) {
	for size, want := range map[string]int64{
		"8GB":        7_679_770_624, // 0.96 × 8 × 10⁹ = 7,680,000,000, down to 4 MiB
		" 8 GB ":     7_679_770_624,
		"4GB":        3_837_788_160,
		"64MB":       58_720_256,
		"4GiB":       4 << 30,
		"44MiB":      44 << 20,
		"7948206080": 7_948_206_080,
		"512":        512,
	} {
		n, err := media.ImageBytes(size)
		require.NoError(t, err, size)
		assert.Equal(t, want, n, size)
	}
	for _, size := range []string{
		"", " ", "GB", "0", "0GB", "-4GB", "-512", "4.5GB", "4gb", "4G", "4TB", "1e9", "0x200", "513", "8 000 000 000", "8GBB", "8GiB8",
		"9223372036854775807", "9223372036854775807GB", "99999999999999999999GB", "5000GiB", "4\x00GB",
	} {
		n, err := media.ImageBytes(size)
		assert.Errorf(t, err, "%q", size)
		assert.Zero(t, n)
	}
}

// Limits by integers are those of exact fractions, rounded down.
func TestLimitsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(0, 1<<42).Draw(t, "nominal")
		limits := media.LimitsOf(&manifest.CardRules{Least: manifest.Size(n), Most: manifest.Size(n)})
		exact := func(hundredths int64) int64 {
			return new(big.Int).Div(new(big.Int).Mul(big.NewInt(n), big.NewInt(hundredths)), big.NewInt(100)).Int64()
		}
		require.Equal(t, media.Limits{Least: exact(92), Most: exact(105)}, limits)
	})
}

// What both devices read is what each of them reads.
func TestLimitsOfTwoDevices(t *testing.T) {
	limits := rapid.Custom(func(t *rapid.T) media.Limits {
		a, b := rapid.Int64Range(0, 50).Draw(t, "a"), rapid.Int64Range(0, 50).Draw(t, "b")
		return media.Limits{Least: min(a, b), Most: max(a, b)}
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := limits.Draw(t, "one"), limits.Draw(t, "other")
		both, ok := a.Both(b)
		any := false
		for n := int64(0); n <= 50; n++ {
			each := a.Check(n) == nil && b.Check(n) == nil
			any = any || each
			require.Equal(t, each, both.Check(n) == nil)
		}
		require.Equal(t, any, ok)
	})
}

func TestBytesForPeople(t *testing.T) {
	for n, want := range map[int64]string{
		0: "0 bytes", 1: "1 byte", 999: "999 bytes", 1000: "1,000 bytes", 999_999: "999,999 bytes",
		1_000_000: "1.0 MB (1,000,000 bytes)", 7_948_206_080: "7.95 GB (7,948,206,080 bytes)", -1234: "-1,234 bytes",
	} {
		assert.Equal(t, want, media.Bytes(n))
	}
}
