package media_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
)

// FIPS 180-4's SHA-256 examples: the empty message, "abc", the 448-bit message
// and one million times "a".
func TestDigestsByFIPS180(t *testing.T) {
	for message, want := range map[string]digest.SHA256{
		"":    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
		strings.Repeat("a", 1_000_000):                             "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
	} {
		f := media.NewRecordFile("a", []byte(message))
		assert.Equal(t, want, f.SHA256)
		assert.Equal(t, int64(len(message)), f.Size)
		if len(message) > 0 {
			assert.Equal(t, []digest.SHA256{want}, f.Running)
		} else {
			assert.Equal(t, []digest.SHA256{}, f.Running) // its length on the card is settled before
		}
	}
}

// Running digests are what coreutils' head and sha256sum give of the file's
// first MiB, its first two, and so on.
func TestRunningDigestsByCoreutils(t *testing.T) {
	for _, size := range []int64{1, media.BlockSize - 1, media.BlockSize, media.BlockSize + 1, 2 * media.BlockSize, 3*media.BlockSize + 12345} {
		content := shoptest.Make("a.upd", size, 7).Content
		path := filepath.Join(t.TempDir(), "a.upd")
		require.NoError(t, os.WriteFile(path, content, 0o600))
		f := media.NewRecordFile("a.upd", content)
		require.Len(t, f.Running, media.Blocks(size))
		for i, got := range f.Running {
			want := run(t, "sh", "-c", fmt.Sprintf("head -c %d %s | sha256sum", (i+1)*media.BlockSize, path))
			assert.Equal(t, want[:64], string(got), "MiB %d of %d bytes", i, size)
		}
	}
}

// However the bytes come, the digests are the same, and asking for them on the
// way changes nothing.
func TestRunningDigestsInPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Int64Range(0, 3*media.BlockSize).Draw(t, "size")
		content := shoptest.Make("a", size, 1).Content
		r := media.NewRunning()
		for rest := content; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			wrote, err := r.Write(rest[:n])
			require.NoError(t, err)
			require.Equal(t, n, wrote)
			rest = rest[n:]
			require.Len(t, r.Digests(), media.Blocks(r.Size()))
		}
		whole := media.NewRecordFile("a", content)
		require.Equal(t, whole.SHA256, r.SHA256())
		require.Equal(t, whole.Running, r.Digests())
	})
}

// files are records' files with any path that FAT allows.
var recordFiles = rapid.Custom(func(t *rapid.T) media.RecordFile {
	path := rapid.StringMatching(`[^\x00-\x1f"*/:<>?\\|\x7f]{1,12}(/[^\x00-\x1f"*/:<>?\\|\x7f]{1,12}){0,3}`).Draw(t, "path")
	return media.NewRecordFile(path, shoptest.Make(path, rapid.Int64Range(0, 2*media.BlockSize+1).Draw(t, "size"), 1).Content)
})

func records(t *rapid.T) media.Record {
	of := rapid.IntRange(1, 9).Draw(t, "of")
	return media.Record{
		Format: media.RecordFormat, Shop: rapid.String().Draw(t, "shop"), Vessel: rapid.String().Draw(t, "vessel"),
		VesselName: rapid.String().Draw(t, "name"), Plan: rapid.String().Draw(t, "plan"),
		Card: rapid.IntRange(1, of).Draw(t, "card"), Of: of, Label: rapid.String().Draw(t, "label"),
		VolumeID:     media.VolumeText(rapid.Uint32().Draw(t, "id")),
		Files:        append([]media.RecordFile{}, rapid.SliceOfN(recordFiles, 0, 4).Draw(t, "files")...),
		InstallOrder: media.NewRecordFile(media.InstallOrderPath, []byte(rapid.String().Draw(t, "order"))),
	}
}

// A record that was written is read as it was.
func TestRecordThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := records(t)
		text, err := r.Encode()
		require.NoError(t, err)
		got, err := media.DecodeRecord(text)
		require.NoError(t, err)
		again, err := got.Encode()
		require.NoError(t, err)
		require.Equal(t, string(text), string(again))
	})
}

// The check file is in the form of coreutils: sha256sum checks the tree with
// it from the card's root, and finds what was altered.
func TestSumsByCoreutils(t *testing.T) {
	dir := t.TempDir()
	r := media.Record{Format: media.RecordFormat, Card: 1, Of: 1, Files: []media.RecordFile{}}
	for i, path := range []string{
		"01-flybridge/plot12.upd", "02-radar/a b.img", "02-radar/ leading", "02-radar/*star'd but only with a quote", "02-radar/naïve ü 日本.bin", "x", "-n",
	} {
		path = strings.ReplaceAll(path, "*", "")
		f := shoptest.Make(path, int64(i*1000), 3)
		r.Files = append(r.Files, media.NewRecordFile(path, f.Content))
		put(t, dir, path, f.Content)
	}
	put(t, dir, media.InstallOrderPath, []byte(shoptest.InstallOrder))
	r.InstallOrder = media.NewRecordFile(media.InstallOrderPath, []byte(shoptest.InstallOrder))
	text, err := r.Encode()
	require.NoError(t, err)
	put(t, dir, media.RecordPath, text)
	put(t, dir, media.SumsPath, r.Sums(text))
	check := func() ([]byte, error) {
		cmd := exec.Command("sha256sum", "--check", "--strict", media.SumsPath)
		cmd.Dir = dir
		return cmd.CombinedOutput()
	}
	out, err := check()
	require.NoError(t, err, "%s", out)
	assert.Equal(t, len(r.Files)+2, strings.Count(string(out), ": OK\n"), "%s", out)
	put(t, dir, "x", []byte("altered"))
	out, err = check()
	require.Error(t, err)
	assert.Contains(t, string(out), "x: FAILED")
}

func put(t testing.TB, dir, path string, content []byte) {
	path = filepath.Join(dir, filepath.FromSlash(path))
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, content, 0o644))
}

// good is a record in the form that cards have.
func good(t testing.TB) string {
	r := media.Record{
		Format: media.RecordFormat, Shop: "Hollin Quay Marine Electrics", Vessel: "kittiwake", VesselName: "Kittiwake",
		Plan: strings.Repeat("ab", 32), Card: 1, Of: 2, Label: "KITTIWAKE 1", VolumeID: "1A2B-3C4D",
		Files:        []media.RecordFile{media.NewRecordFile("01-flybridge/plot12.upd", make([]byte, media.BlockSize+1))},
		InstallOrder: media.NewRecordFile(media.InstallOrderPath, []byte(shoptest.InstallOrder)),
	}
	text, err := r.Encode()
	require.NoError(t, err)
	return string(text)
}

// What is no record of ours is refused, whatever is wrong with it.
func TestHostileRecords(t *testing.T) {
	_, err := media.DecodeRecord([]byte(good(t)))
	require.NoError(t, err)
	digest := shoptest.Sum(make([]byte, media.BlockSize+1))
	for name, c := range map[string]struct{ from, to string }{
		"nothing":                    {good(t), ""},
		"no JSON":                    {good(t), "record"},
		"a list":                     {good(t), "[" + good(t) + "]"},
		"cut short":                  {"}\n", ""},
		"more after its end":         {"", good(t)},
		"a bracket after its end":    {"", "]"},
		"a brace after its end":      {"", "}"},
		"another format":             {`"format": 1`, `"format": 2`},
		"no format":                  {`"format": 1,`, ``},
		"an unknown key":             {`"shop"`, `"shed"`},
		"an unknown key in a file":   {`"size"`, `"sise"`},
		"card 0":                     {`"card": 1`, `"card": 0`},
		"card 3 of 2":                {`"card": 1`, `"card": 3`},
		"a negative card":            {`"card": 1`, `"card": -1`},
		"a card that isn't whole":    {`"card": 1`, `"card": 1.5`},
		"too large a number":         {`"of": 2`, `"of": 99999999999999999999`},
		"a negative size":            {`"size": 1048577`, `"size": -1048577`},
		"a size of too few digests":  {`"size": 1048577`, `"size": 3048577`},
		"a size of too many digests": {`"size": 1048577`, `"size": 1`},
		"the largest size":           {`"size": 1048577`, `"size": 9223372036854775807`},
		"an upper-case digest":       {digest, strings.ToUpper(digest)},
		"a short digest":             {digest, digest[1:]},
		"a digest of other letters":  {digest, "g" + digest[1:]},
		"a digest with a line end":   {digest, digest[1:] + `\n`},
		"text for a number":          {`"of": 2`, `"of": "2"`},
		"a number for text":          {`"KITTIWAKE 1"`, `1`},
	} {
		text := strings.Replace(good(t), c.from, c.to, 1)
		if c.from == "" {
			text = good(t) + c.to
		}
		require.NotEqual(t, good(t), text, name)
		_, err := media.DecodeRecord([]byte(text))
		assert.Error(t, err, name)
	}
	_, err = media.DecodeRecord(make([]byte, media.MaxRecordBytes+1))
	assert.ErrorContains(t, err, "expected at most")
}

// A record that is as long as one may be, and made to take as much memory as
// it can, takes hardly more than an honest one of that length.
func TestHostileRecordsTakeLittleMemory(t *testing.T) {
	const most = 40 << 20
	for _, c := range []struct{ head, unit, tail string }{
		{`{"format":1,"files":[`, `{},`, `{}]}`},
		{`{"format":1,"files":[`, `null,`, `null]}`},
		{`{"format":1,"files":[`, `{"running":[]},`, `{}]}`},
		{`{"format":1,"files":[`, `{"running":[""]},`, `{}]}`},
		{`{"format":1,"files":[{"running":[`, `"",`, `""]}]}`},
		{`{"format":1,"files":[{"running":[`, `null,`, `""]}]}`},
		{`{"format":1,"install_order":{"running":[`, `"",`, `""]}}`},
		{`{"format":1,"files":`, `[`, ``},
		{`{"format":1,`, `"card":1,`, `"card":1}`},
	} {
		text := []byte(c.head + strings.Repeat(c.unit, (media.MaxRecordBytes-100)/len(c.unit)) + c.tail)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := media.DecodeRecord(text)
		runtime.ReadMemStats(&after)
		assert.Error(t, err, "%s%s", c.head, c.unit)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(most), "%s%s", c.head, c.unit)
	}
}

// Whatever is accepted as a record is written again as the same record.
func FuzzDecodeRecord(f *testing.F) {
	f.Add([]byte(good(f)))
	f.Add([]byte(strings.Replace(good(f), `"files": [`, `"files": null, "FILES": [`, 1)))
	f.Add([]byte(`{"format":1,"card":1,"of":1,"install_order":{"sha256":"` + shoptest.Sum(nil) + `"}}`))
	f.Add([]byte(`{"format":1}`))
	f.Add(bytes.Repeat([]byte("["), 20000))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := media.DecodeRecord(text)
		if err != nil {
			require.Zero(t, r)
			return
		}
		again, err := r.Encode()
		require.NoError(t, err)
		if len(again) > media.MaxRecordBytes {
			return
		}
		same, err := media.DecodeRecord(again)
		require.NoError(t, err)
		require.Equal(t, r, same)
		sums := string(r.Sums(again))
		sum := sha256.Sum256(again)
		require.True(t, strings.HasSuffix(sums, hex.EncodeToString(sum[:])+"  "+media.RecordPath+"\n"))
	})
}
