package media

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"cardwright/manifest/digest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The length is counted before the digests are known; what is written then
// must be as long.
func TestRecordIsWrittenAsCounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		file := rapid.Custom(func(t *rapid.T) RecordFile {
			return RecordFile{
				Path:   rapid.StringMatching(`[a-z0-9/ "\\<&éß\x{2028}\x{10000}]{0,12}`).Draw(t, "path"),
				Size:   rapid.Int64Range(0, 5<<20).Draw(t, "size"),
				SHA256: digest.SHA256(strings.Repeat("0", 64)),
			}
		})
		r := Record{Shop: "Hollin Quay", Files: rapid.SliceOfN(file, 0, 5).Draw(t, "files"), InstallOrder: file.Draw(t, "order")}
		counted, err := r.encodedBytes()
		require.NoError(t, err)
		for i, f := range r.Files {
			r.Files[i].Running = slices.Repeat([]digest.SHA256{f.SHA256}, Blocks(f.Size))
		}
		r.InstallOrder.Running = slices.Repeat([]digest.SHA256{r.InstallOrder.SHA256}, Blocks(r.InstallOrder.Size))
		text, err := r.Encode()
		require.NoError(t, err)
		require.EqualValues(t, len(text), counted)

		var want bytes.Buffer // judge: encoding/json writing all of it
		enc := json.NewEncoder(&want)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", " ")
		require.NoError(t, enc.Encode(r))
		require.Equal(t, want.String(), string(text))
	})
}
