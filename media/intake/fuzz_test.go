package intake

import (
	"bytes"
	"context"
	"path"
	"slices"
	"strings"
	"testing"

	"aead.dev/minisign"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/media/mediatest/shoptest"
)

// FuzzList: whatever a list says, names have no folder, digests are digests,
// and each is found again.
func FuzzList(f *testing.F) {
	sum := strings.Repeat("0123456789abcdef", 4)
	for _, s := range []string{sum + "  plot.upd\n", sum + sum + " *a/b.upd\r\n", `\` + sum + `  a\\b\nc`, "SHA256 (plot.upd) = " + sum, sum, "\ufeff# no"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := readList("plot.upd.sha256", data)
		if err != nil {
			return
		}
		require.LessOrEqual(t, len(l.entries), maxListLines)
		for _, e := range l.entries {
			require.NotEmpty(t, e.kinds)
			for _, k := range e.kinds {
				if digits := k.traits().digits; digits > 0 {
					require.Len(t, e.digest, digits)
				}
			}
			require.Equal(t, "", strings.Trim(e.digest, "0123456789abcdef"))
			if base := baseOf(e.name); e.name != "" {
				require.False(t, strings.ContainsRune(base, '/') && base != "/", "%q", base)
				group, _ := l.about(&subject{path: "/" + base, names: []string{base}})
				require.True(t, slices.ContainsFunc(group, func(x listed) bool { return looseName(baseOf(x.name)) == looseName(base) }), "%q", e.name)
			}
		}
	})
}

// FuzzArchive: whatever an archive holds, reading it is bounded, and every
// member that is taken has a name that leads nowhere else.
func FuzzArchive(f *testing.F) {
	for _, a := range []shoptest.File{
		shoptest.Archive(f, "a.zip", shoptest.Make("plot.upd", 300, 1), shoptest.Make("a/b.bin", 0, 1)),
		shoptest.Archive(f, "b.zip", shoptest.Make("../x", 3, 1)),
	} {
		f.Add(a.Content)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := openArchive(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return
		}
		var read int64
		members, err := a.members(context.Background(), func(n int64) { read += n })
		require.LessOrEqual(t, read, int64(len(data))*1100+copyBytes, "deflate packs 1032 to 1 at most")
		if err != nil {
			return
		}
		for _, m := range members {
			require.Nil(t, manifest.Problem("Member.name", m.Name))
			assert.False(t, path.IsAbs(m.Name) || strings.Contains(m.Name, ".."+"/"))
		}
	})
}

// FuzzSignature: no signature file makes a checker panic or be believed.
func FuzzSignature(f *testing.F) {
	const key = "RWQLHKLodfA5mPgf+ylWp2fd/gZPfqMb0u5Qpv4vvDeBg75DrUHFtPFw"
	f.Add([]byte("untrusted comment: x\nRUQLHKLodfA5mAAA\ntrusted comment: y\nAAAA\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := checkSignature("plot.upd", "plot.upd.minisig", minisign.NewReader(strings.NewReader("")), func() ([]byte, error) { return []byte("x"), nil }, append([]byte{}, text...), []string{key})
		require.Nil(t, p)
		require.Error(t, err)
	})
}
