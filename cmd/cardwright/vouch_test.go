package main

import (
	"bytes"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha3"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"hash"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf16"

	"aead.dev/minisign"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/blake2b"
	"golang.org/x/crypto/blake2s"
	"golang.org/x/crypto/ripemd160" //lint:ignore SA1019 old lists have it; it is reported as a weak digest
	"lukechampine.com/blake3"
)

// vouchRow is a download, what lies beside it, and what package add says of it.
type vouchRow struct {
	what  string
	files []string // names and contents, one after the other; new.upd is the download
	args  string
	trust string // "": it is refused
	says  string // in the notes, or in the reason
}

// published is what the maker published, and other is not.
const published, other = "a release that nobody has seen\n", "a release that somebody has changed\n"

// rowDigests is a digest by the word for its kind in a row.
var rowDigests = map[string]func() hash.Hash{
	"md5": md5.New, "sha1": sha1.New, "sha224": sha256.New224, "sha256": sha256.New, "sha384": sha512.New384, "sha512": sha512.New,
	"sha512-256": sha512.New512_256, "rmd160": ripemd160.New, "crc32": func() hash.Hash { return crc32.NewIEEE() },
	"sha3-256":  func() hash.Hash { return sha3.New256() },
	"sha3-384":  func() hash.Hash { return sha3.New384() },
	"sha3-512":  func() hash.Hash { return sha3.New512() },
	"blake2b":   func() hash.Hash { h, _ := blake2b.New512(nil); return h },
	"blake2256": func() hash.Hash { h, _ := blake2b.New256(nil); return h },
	"blake2s":   func() hash.Hash { h, _ := blake2s.New256(nil); return h },
	"blake3":    func() hash.Hash { return blake3.New(32, nil) },
}

var inRow = regexp.MustCompile(`\{(not|of:[^}|]+\||upper|base64|four|two)? ?([a-z0-9-]+)\}`)

// filledIn puts digests of the published bytes in a row's text: {sha256}; {not
// sha256} is one of other bytes, {upper sha256} has capitals, {base64 sha256} is
// in base 64, {four sha256} and {two sha256} in groups of so many bytes, and
// {of:TEXT|sha256} is one of that text.
func filledIn(text string) string {
	return inRow.ReplaceAllStringFunc(text, func(word string) string {
		m := inRow.FindStringSubmatch(word)
		make, ok := rowDigests[m[2]]
		if !ok {
			return word
		}
		content := published
		switch {
		case m[1] == "not":
			content = other
		case strings.HasPrefix(m[1], "of:"):
			content = strings.TrimSuffix(strings.TrimPrefix(m[1], "of:"), "|")
		}
		h := make()
		h.Write([]byte(content))
		digest := hex.EncodeToString(h.Sum(nil))
		switch m[1] {
		case "upper":
			return strings.ToUpper(digest)
		case "base64":
			return base64.StdEncoding.EncodeToString(h.Sum(nil))
		case "four":
			return strings.ToUpper(grouped(digest, 8))
		case "two":
			return grouped(digest, 2)
		}
		return digest
	})
}

func grouped(digest string, n int) string {
	var groups []string
	for ; digest != ""; digest = digest[n:] {
		groups = append(groups, digest[:n])
	}
	return strings.Join(groups, " ")
}

// wide is a text in UTF-16, its lower byte first or last.
func wide(text string, lowFirst bool) string {
	var out []byte
	for _, u := range utf16.Encode([]rune(filledIn(text))) {
		if lowFirst {
			out = append(out, byte(u), byte(u>>8))
		} else {
			out = append(out, byte(u>>8), byte(u))
		}
	}
	return string(out)
}

// makersKey signs in these rows; a stranger's is another.
var makersKey, strangersKey = testKey(1), testKey(2)

func testKey(seed byte) minisign.PrivateKey {
	_, key, err := minisign.GenerateKey(bytes.NewReader(bytes.Repeat([]byte{seed}, 1024)))
	if err != nil {
		panic(err)
	}
	return key
}

func public(key minisign.PrivateKey) string { return key.Public().(minisign.PublicKey).String() }

func sign(key minisign.PrivateKey, content string) string {
	return string(minisign.Sign(key, []byte(filledIn(content))))
}

// keyed is the word in a row's args that gives the model the maker's key.
const keyed = "KEYED"

// TestWhoVouches runs the real command on every row.
func TestWhoVouches(t *testing.T) {
	rows := 0
	for _, part := range vouchRows {
		for _, row := range part.rows {
			rows++
			t.Run(part.of+"/"+row.what, func(t *testing.T) {
				t.Parallel()
				row.check(t)
			})
		}
	}
	require.GreaterOrEqual(t, rows, 200)
}

func (row vouchRow) check(t *testing.T) {
	shop, downloads := t.TempDir(), t.TempDir()
	require.NoError(t, os.CopyFS(shop, os.DirFS("testdata/shop")))
	files := append([]string{"new.upd", published}, row.files...)
	for i := 0; i < len(files); i += 2 {
		path := filepath.Join(downloads, files[i])
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(filledIn(files[i+1])), 0o644))
	}
	catalogue := filepath.Join(shop, "catalogue/fennick-plot-9.yaml")
	before, err := os.ReadFile(catalogue)
	require.NoError(t, err)
	download, keys, args := row.command()
	before = append([]byte(keys), before...)
	require.NoError(t, os.WriteFile(catalogue, before, 0o644))
	code, a := addDownload(t, shop, downloads, download, args)
	after, err := os.ReadFile(catalogue)
	require.NoError(t, err)
	if row.trust == "" {
		assert.False(t, a.taken, a.told)
		assert.Equal(t, 1, code, a.told)
		assert.Equal(t, string(before), string(after))
	} else {
		assert.True(t, a.taken, a.told)
		assert.Equal(t, row.trust, a.trust, a.told)
		assert.Contains(t, string(after), "trust: "+row.trust)
	}
	assert.Contains(t, a.told, row.says)
	if row.says == "" {
		assert.NotContains(t, a.told, "nothing usable")
	}
}

// command is what a row's args say: the download, keys for the catalogue, and
// flags.
func (row vouchRow) command() (download, keys string, flags []string) {
	download = "new.upd"
	for _, arg := range strings.Fields(filledIn(row.args)) {
		arg = strings.NewReplacer("MAKERSKEY", public(makersKey), "STRANGERSKEY", public(strangersKey), "%20", " ").Replace(arg)
		switch name, isFile := strings.CutPrefix(arg, "FILE="); {
		case isFile:
			download = name
		case arg == keyed:
			keys += "signing_key: " + public(makersKey) + "\n"
		case arg == "OPENS":
			keys += "opens_archives: true\n"
		default:
			flags = append(flags, arg)
		}
	}
	return download, keys, flags
}

// addedDownload is what package add answered.
type addedDownload struct {
	taken       bool
	trust, told string
}

func addDownload(t *testing.T, shop, downloads, download string, flags []string) (int, addedDownload) {
	t.Helper()
	args := append([]string{"package", "add", download, "--shop", shop, "--model", "fennick-plot-9", "--version", "4.1", "--released", "2026-06-01", "--json"}, flags...)
	cmd := exec.Command("cardwright", args...)
	cmd.Dir = downloads
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, _ := cmd.Output()
	var answer struct {
		Files []struct {
			Taken bool
			Trust string
			Notes []string
			Error string
		}
		Error string
	}
	require.NoError(t, json.Unmarshal(out, &answer), "%s%s", out, errs.String())
	a := addedDownload{told: answer.Error}
	for _, f := range answer.Files {
		a.taken, a.trust = f.Taken, f.Trust
		a.told += f.Error + strings.Join(f.Notes, "\n")
	}
	return cmd.ProcessState.ExitCode(), a
}
