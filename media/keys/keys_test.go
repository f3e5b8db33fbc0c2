package keys

import (
	"bytes"
	"crypto/ed25519"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestKeyIsKeptForItsOwnerAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a", "shop.key")
	made, err := New(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	loaded, err := Load(path)
	require.NoError(t, err)
	assert.Equal(t, made.Public(), loaded.Public())
	assert.Regexp(t, `^RW[0-9A-Za-z+/]{54}$`, loaded.Public())

	_, err = New(path)
	require.ErrorContains(t, err, "left as it is")

	require.NoError(t, os.Chmod(path, 0o640))
	_, err = Load(path)
	require.ErrorContains(t, err, "others may read")

	_, err = Load(path + ".none")
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, os.WriteFile(path+".bad", []byte("not a key"), 0o600))
	_, err = Load(path + ".bad")
	require.Error(t, err)
}

func TestCheck(t *testing.T) {
	ours, err := New(filepath.Join(t.TempDir(), "ours"))
	require.NoError(t, err)
	theirs, err := New(filepath.Join(t.TempDir(), "theirs"))
	require.NoError(t, err)
	record := []byte(`{"format":1}`)
	signature, err := ours.Sign(record)
	require.NoError(t, err)

	again, err := ours.Sign(record)
	require.NoError(t, err)
	assert.Equal(t, signature, again, "the same record gives the same bytes")
	other, err := ours.Sign([]byte("another record, of another length"))
	require.NoError(t, err)
	assert.Len(t, other, len(signature), "the length is known before the record is")

	for name, c := range map[string]struct {
		record, signature []byte
		trusted           []string
		signer            Signer
		place             int
	}{
		"ours":             {record, signature, []string{theirs.Public(), ours.Public()}, Known, 1},
		"not trusted":      {record, signature, []string{theirs.Public()}, Nobody, -1},
		"nobody trusted":   {record, signature, nil, Nobody, -1},
		"altered record":   {[]byte(`{"format":2}`), signature, []string{ours.Public()}, Nobody, -1},
		"unsigned":         {record, nil, []string{ours.Public()}, Unsigned, -1},
		"cut off":          {record, signature[:100], []string{ours.Public()}, Nobody, -1},
		"no signature":     {record, []byte("hello"), []string{ours.Public()}, Nobody, -1},
		"another comment":  {record, bytes.Replace(signature, []byte("from"), []byte("form"), 1), []string{ours.Public()}, Nobody, -1},
		"more after it":    {record, append(bytes.Clone(signature), '\n'), []string{ours.Public()}, Nobody, -1},
		"endless":          {record, make([]byte, 1<<20), []string{ours.Public()}, Nobody, -1},
		"trusted nonsense": {record, signature, []string{"RWnonsense", ours.Public()}, Known, 1},
	} {
		signer, place := Check(c.record, c.signature, c.trusted)
		assert.Equal(t, c.signer, signer, name)
		assert.Equal(t, c.place, place, name)
	}
}

// The minisign tool itself (Debian package minisign) accepts what Sign gives,
// and refuses it for an altered record.
func TestMinisignAccepts(t *testing.T) {
	dir := t.TempDir()
	key, err := New(filepath.Join(dir, "key"))
	require.NoError(t, err)
	record := filepath.Join(dir, "record.json")
	require.NoError(t, os.WriteFile(record, []byte(`{"format":1}`), 0o644))
	signature, err := key.Sign([]byte(`{"format":1}`))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(record+".minisig", signature, 0o644))

	out, err := exec.Command("minisign", "-V", "-m", record, "-P", key.Public()).CombinedOutput()
	require.NoError(t, err, "%s", out)
	assert.Contains(t, string(out), trustedComment)

	require.NoError(t, os.WriteFile(record, []byte(`{"format":2}`), 0o644))
	out, err = exec.Command("minisign", "-V", "-m", record, "-P", key.Public()).CombinedOutput()
	require.Error(t, err, "%s", out)
}

// The same key signs records and other things: what Go's own Ed25519 signs
// with the private half, it accepts with the public one.
func TestEd25519(t *testing.T) {
	key, err := New(filepath.Join(t.TempDir(), "key"))
	require.NoError(t, err)
	private, err := key.Ed25519()
	require.NoError(t, err)
	public, err := PublicEd25519(key.Public())
	require.NoError(t, err)
	assert.Equal(t, public, private.Public())
	assert.True(t, ed25519.Verify(public, []byte("message"), ed25519.Sign(private, []byte("message"))))
	_, err = PublicEd25519("RWshort")
	require.Error(t, err)
}
