package contacts_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/contacts"
)

func TestKeepAndForget(t *testing.T) {
	dir := t.TempDir()
	list, err := contacts.Load(dir)
	require.NoError(t, err)
	assert.Empty(t, list)
	a := contacts.Contact{Vessel: "kittiwake", Name: "the owner: A. \"Nobody\" #1", Phone: "+44 1632 960001", Email: "owner@example.org"}
	b := contacts.Contact{Vessel: "ais", Phone: "01632 960002"}
	for _, c := range []contacts.Contact{a, b} {
		changed, err := contacts.Keep(dir, c)
		require.NoError(t, err)
		assert.True(t, changed)
	}
	changed, err := contacts.Keep(dir, a)
	require.NoError(t, err)
	assert.False(t, changed, "it stands there")
	list, err = contacts.Load(dir)
	require.NoError(t, err)
	assert.Equal(t, []contacts.Contact{b, a}, list)
	info, err := os.Stat(filepath.Join(dir, contacts.File))
	require.NoError(t, err)
	assert.Zero(t, info.Mode().Perm()&0o077, "nobody else may read it")

	changed, err = contacts.Keep(dir, contacts.Contact{Vessel: "kittiwake"})
	require.NoError(t, err)
	assert.True(t, changed)
	text, err := os.ReadFile(filepath.Join(dir, contacts.File))
	require.NoError(t, err)
	assert.NotContains(t, string(text), "Nobody", "forgotten is gone from the file")
}

func TestWhatCannotBeAContact(t *testing.T) {
	for text, want := range map[string]string{
		"- vessel: k\n":                                    "expected name, phone or email",
		"- name: x\n":                                      "expected the id of one",
		"- vessel: k\n  phone: call me\n":                  "expected digits",
		"- vessel: k\n  email: nobody\n":                   "expected one @",
		"- vessel: k\n  fax: 1\n":                          `contacts.yaml:2:3: found the key "fax", expected vessel, name, phone and email, each once`,
		"- vessel: k\n  vessel: j\n":                       `contacts.yaml:2:3: found the key "vessel"`,
		"- vessel: k\n  name: [a, b]\n":                    "contacts.yaml:2:9: found no text for name, expected text on one line",
		"- vessel: k\n  name: &a b\n- vessel: *a\n":        "contacts.yaml:3:11: found no text for vessel",
		"vessel: k\nname: x\n":                             "contacts.yaml:1:1: found no list, expected a list",
		"- kittiwake\n":                                    "contacts.yaml:1:3: found an entry without keys",
		"- vessel: k\n  name: \"a\\u001b[2J\"\n":           "text that can be seen",
		"- {vessel: k, name: a}\n- {vessel: k, name: b}\n": "each vessel once",
		"- vessel: k\n  name: " + strings.Repeat("x", 201): "at most 200 bytes",
		"a: [b\n": "contacts.yaml:2:1: found text that is not YAML, expected a list",
		strings.Repeat("# nothing but a comment, and long\n", 40_000): "expected at most",
	} {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, contacts.File), []byte(text), 0o600))
		_, err := contacts.Load(dir)
		if assert.Error(t, err, "%.60q", text) {
			assert.Contains(t, err.Error(), want)
		}
		_, err = contacts.Keep(dir, contacts.Contact{Vessel: "k", Name: "x"})
		assert.Error(t, err, "a file that can't be read is not written over")
	}
}
