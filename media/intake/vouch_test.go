package intake_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"aead.dev/minisign"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/blake2b"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/media/intake"
	"cardwright/media/mediatest/shoptest"
)

// drawnLine is one line of a drawn list.
type drawnLine struct {
	name  string
	right bool
	kind  string
	text  string
}

var drawnKinds = map[string]func([]byte) string{
	"SHA256":  func(b []byte) string { s := sha256.Sum256(b); return hex.EncodeToString(s[:]) },
	"SHA512":  func(b []byte) string { s := sha512.Sum512(b); return hex.EncodeToString(s[:]) },
	"BLAKE2b": func(b []byte) string { s := blake2b.Sum512(b); return hex.EncodeToString(s[:]) },
}

func drawLine(t *rapid.T, content []byte) drawnLine {
	l := drawnLine{
		name:  rapid.SampledFrom([]string{"new.upd", "new.upd", "NEW.UPD", "eu/new.upd", "other.upd", "./new.upd"}).Draw(t, "name"),
		right: rapid.Bool().Draw(t, "right"),
		kind:  rapid.SampledFrom([]string{"SHA256", "SHA512", "BLAKE2b"}).Draw(t, "kind"),
	}
	if !l.right {
		content = append([]byte("another "), content...)
	}
	digest := drawnKinds[l.kind](content)
	if rapid.Bool().Draw(t, "capitals") {
		digest = strings.ToUpper(digest)
	}
	forms := []string{"%[2]s  %[1]s", "%[2]s *%[1]s", "%[3]s (%[1]s) = %[2]s", "%[1]s: %[2]s", "%[2]s\t%[1]s", "%[1]s,%[2]s", "# %[2]s  %[1]s", "see %[1]s"}
	l.text = fmt.Sprintf(rapid.SampledFrom(forms).Draw(t, "form"), l.name, digest, l.kind)
	return l
}

// drawSignature is a signature by somebody, or none.
func drawSignature(t *rapid.T, what string, signed []byte, maker, stranger minisign.PrivateKey) (by string, signature []byte) {
	by = rapid.SampledFrom([]string{"nobody", "maker", "stranger", "maker, of other bytes"}).Draw(t, what)
	switch by {
	case "maker":
		signature = minisign.Sign(maker, signed)
	case "stranger":
		signature = minisign.Sign(stranger, signed)
	case "maker, of other bytes":
		signature = minisign.Sign(maker, append([]byte("x"), signed...))
	}
	return by, signature
}

// drawDigest gives a digest with the request, or none.
func drawDigest(t *rapid.T, r *intake.Request, content []byte) {
	if rapid.Bool().Draw(t, "digest given") {
		r.SHA256 = shoptest.Sum(content)
		r.From = rapid.SampledFrom([]string{"maker", "Maker", "x", "the maker's forum", "makers"}).Draw(t, "from")
	}
}

// The property: maker is only ever said where a digest or a signature that the
// maker names covers exactly these bytes: a list's, signed by the maker where its
// key is known; a signature's; or one that was given as the maker's.
func TestMakerOnlyWhatTheMakerVouchesFor(t *testing.T) {
	_, maker, err := minisign.GenerateKey(nil)
	require.NoError(t, err)
	_, stranger, err := minisign.GenerateKey(nil)
	require.NoError(t, err)
	root, dir, round, makers := t.TempDir(), t.TempDir(), 0, 0
	shop := shoptest.Kittiwake(t, root)
	rapid.Check(t, func(rt *rapid.T) {
		round++
		downloads := filepath.Join(dir, fmt.Sprint(round))
		require.NoError(rt, os.Mkdir(downloads, 0o755))
		put := func(name string, content []byte) {
			require.NoError(rt, os.WriteFile(filepath.Join(downloads, name), content, 0o644))
		}
		content := []byte("bytes " + rapid.StringN(1, 20, -1).Draw(rt, "content"))
		put("new.upd", content)
		lines := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) drawnLine { return drawLine(t, content) }), 0, 4).Draw(rt, "lines")
		var list strings.Builder
		for _, l := range lines {
			list.WriteString(l.text + "\n")
		}
		signedBy := func(what string, signed []byte) string {
			by, signature := drawSignature(rt, what, signed, maker, stranger)
			if signature != nil {
				put(what+".minisig", signature)
			}
			return by
		}
		listBy := "nobody"
		if len(lines) > 0 {
			put("SHA256SUMS", []byte(list.String()))
			listBy = signedBy("SHA256SUMS", []byte(list.String()))
		}
		fileBy := signedBy("new.upd", content)
		r := intake.Request{Path: filepath.Join(downloads, "new.upd"), Model: "fennick-plot-12", Version: "4.1"}
		keyed := rapid.Bool().Draw(rt, "keyed")
		shop.Models[0].SigningKey = ""
		if keyed {
			shop.Models[0].SigningKey = maker.Public().(minisign.PublicKey).String()
		}
		drawDigest(rt, &r, content)
		f, err := intake.Examine(context.Background(), shop.Shop, r, nil)
		if err != nil || f.Trust != manifest.TrustMaker {
			return
		}
		makers++
		right := func(l drawnLine) bool {
			return l.right && strings.Contains(strings.ToLower(l.text), drawnKinds[l.kind](content))
		}
		byList := slices.ContainsFunc(lines, right) && (!keyed || listBy == "maker")
		bySignature := keyed && fileBy == "maker"
		given := r.SHA256 != "" && strings.EqualFold(r.From, "maker")
		assert.True(rt, byList || bySignature || given, "%+v", f)
		for _, l := range lines { // what contradicts is no proof
			if !l.right && strings.TrimPrefix(l.name, "./") == "new.upd" && l.text[0] != '#' && !strings.HasPrefix(l.text, "see") {
				assert.NotContains(rt, fmt.Sprint(f.Proofs), "list SHA256SUMS", l.text)
			}
		}
	})
	assert.Positive(t, makers, "the property was tried")
}

// FuzzTrust: whatever lies beside a download as its list, it counts as the
// maker's only where it has a strong digest of these very bytes.
func FuzzTrust(f *testing.F) {
	content := []byte("a release that nobody has seen")
	var digests []string
	for _, sum := range drawnKinds {
		digest := sum(content)
		raw, _ := hex.DecodeString(digest)
		digests = append(digests, digest, strings.ToLower(base64.StdEncoding.EncodeToString(raw)))
		for _, form := range []string{"%s  new.upd\n", "SHA256 (new.upd) = %s\n", "new.upd: %s", "Algorithm : SHA256\nHash : %s\nPath : new.upd\n", `{"name":"new.upd","sha512":"%s"}`, "<file name='new.upd'><hash>%s</hash></file>"} {
			f.Add([]byte(fmt.Sprintf(form, digest)))
		}
	}
	dir := f.TempDir()
	shop := shoptest.Kittiwake(f, f.TempDir())
	require.NoError(f, os.WriteFile(filepath.Join(dir, "new.upd"), content, 0o644))
	f.Fuzz(func(t *testing.T, data []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "new.upd.sha256"), data, 0o644))
		found, err := intake.Examine(context.Background(), shop.Shop, intake.Request{Path: filepath.Join(dir, "new.upd"), Model: "fennick-plot-12", Version: "4.1"}, nil)
		if err != nil || found.Trust != manifest.TrustMaker {
			return
		}
		said := strings.ToLower(string(bytes.Map(func(r rune) rune {
			if strings.ContainsRune(" \t\r\n:-\x00\u00a0\u200b\u00ad\u200e\u200f\u2060\ufeff\u202f\u3000\v\f\u0085\u2028\u2029", r) {
				return -1
			}
			return r
		}, data)))
		assert.True(t, slices.ContainsFunc(digests, func(d string) bool { return strings.Contains(said, d) }) || strings.ContainsAny(said, `&\`), "%q", data)
	})
}

// The kinds of digest, judged by OpenSSL's dgst and coreutils' b2sum; BLAKE3 of
// the one byte 0 by its official test vectors (from memory).
func TestDigestKinds(t *testing.T) {
	content := []byte("a release that nobody has seen")
	b := newBench(t)
	path := b.download("new.upd", content)
	for kind, tool := range map[string][]string{
		"SHA-224": {"openssl", "dgst", "-sha224"}, "SHA-256": {"openssl", "dgst", "-sha256"}, "SHA-384": {"openssl", "dgst", "-sha384"},
		"SHA-512": {"openssl", "dgst", "-sha512"}, "SHA-512/256": {"openssl", "dgst", "-sha512-256"}, "SHA-512/224": {"openssl", "dgst", "-sha512-224"},
		"SHA3-224": {"openssl", "dgst", "-sha3-224"}, "SHA3-256": {"openssl", "dgst", "-sha3-256"}, "SHA3-384": {"openssl", "dgst", "-sha3-384"}, "SHA3-512": {"openssl", "dgst", "-sha3-512"},
		"BLAKE2s-256": {"openssl", "dgst", "-blake2s256"}, "BLAKE2b-512": {"openssl", "dgst", "-blake2b512"},
		"BLAKE2b-256": {"b2sum", "-l", "256", "--tag"}, "BLAKE2b-384": {"b2sum", "-l", "384"},
		"SHA-1": {"openssl", "dgst", "-sha1"}, "MD5": {"openssl", "dgst", "-md5"},
	} {
		t.Run(kind, func(t *testing.T) {
			cmd := exec.Command(tool[0], append(tool[1:], "new.upd")...)
			cmd.Dir = b.downloads
			out, err := cmd.Output()
			require.NoError(t, err)
			list := b.download("sums.txt", out)
			f := b.taken(fresh(path))
			require.Len(t, f.Proofs, 1, "%s", out)
			said := fmt.Sprint(f.Proofs, f.Notes)
			if kind == "SHA-256" {
				said = "SHA-256"
			}
			assert.Contains(t, said, kind)
			changed := bytes.Clone(out)
			digest := bytes.LastIndexFunc(changed, func(r rune) bool { return strings.ContainsRune("0123456789", r) })
			changed[digest] = "1234567890"[changed[digest]-'0']
			require.NoError(t, os.WriteFile(list, changed, 0o644))
			b.refused(fresh(path), "not the file that was published")
			require.NoError(t, os.Remove(list))
		})
	}
	list := b.download("B3SUMS", []byte("2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213  one.upd\n"))
	zip := b.download("a.zip", shoptest.Archive(t, "a.zip", shoptest.File{Name: "one.upd", Content: []byte{0}}).Content)
	r := fresh(zip)
	r.Member = "one.upd"
	assert.Equal(t, manifest.TrustMaker, b.taken(r).Trust)
	require.NoError(t, os.Remove(list))
}

// What is kept of readings is a stranger's, too: nothing of it is believed that
// isn't so now, and what can't be read is as if it weren't there.
func TestReadings(t *testing.T) {
	b := checkBench(t)
	cache := t.TempDir()
	now := time.Now().Add(time.Minute)
	list := func() intake.Inventory {
		inv, err := intake.List(b.Shop.Shop, nil)
		require.NoError(t, err)
		intake.ReadingsOf(b.Shop.Shop, cache, now).Tell(inv)
		return inv
	}
	for _, c := range list().Files {
		assert.True(t, c.LastRead.IsZero())
	}
	inv := list()
	require.NoError(t, intake.Check(context.Background(), inv, nil))
	r := intake.ReadingsOf(b.Shop.Shop, cache, now)
	r.Note(inv, now.Add(time.Minute))
	require.NoError(t, r.Save(b.Shop.Shop))
	kept, err := filepath.Glob(filepath.Join(cache, "cardwright", "read-*.json"))
	require.NoError(t, err)
	require.Len(t, kept, 1)
	for _, c := range list().Files {
		assert.Zero(t, c.LastRead, "of a time to come: %s", c.Path)
	}
	now = now.Add(2 * time.Minute)
	for _, c := range list().Files {
		assert.NotZero(t, c.LastRead, c.Path)
		assert.Equal(t, intake.Present, c.State, "kept, and not proven")
	}
	rotten := plot()
	rotten[7] ^= 1
	require.NoError(t, os.WriteFile(b.place(filepath.FromSlash(plotPlace)), rotten, 0o644))
	for _, c := range list().Files {
		assert.Equal(t, c.Path == plotPlace, c.Changed, c.Path)
	}
	text, err := os.ReadFile(kept[0])
	require.NoError(t, err)
	require.True(t, json.Valid(text))
	for _, bad := range []string{"", "{", `{"format":2}`, `{"format":1,"folder":"/elsewhere"}`, strings.Replace(string(text), `"at":"`, `"at":"9`, 1)} {
		require.NoError(t, os.WriteFile(kept[0], []byte(bad), 0o644))
		for _, c := range list().Files {
			assert.Zero(t, c.LastRead)
		}
	}
	require.NoError(t, os.Remove(kept[0]))
	require.NoError(t, os.Mkdir(kept[0], 0o755))
	require.Error(t, intake.ReadingsOf(b.Shop.Shop, cache, now).Save(b.Shop.Shop))
	require.NoError(t, intake.ReadingsOf(b.Shop.Shop, "relative", now).Save(b.Shop.Shop), "nothing is kept")
}
