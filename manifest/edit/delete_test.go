package edit_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/edit"
)

// What is taken out goes whole, and nothing else does.
func TestDelete(t *testing.T) {
	for _, c := range []struct {
		name, text string
		way        edit.Way
		want       string
	}{
		{"entry of blocks", "l:\n  - a: 1\n    b: 2\n  # about c\n  - c: 3\n", edit.Way{"l", 0}, "l:\n  # about c\n  - c: 3\n"},
		{"last entry", "l:\n  - a: 1\n  - c: 3 # gone\nk: v\n", edit.Way{"l", 1}, "l:\n  - a: 1\nk: v\n"},
		{"only entry", "k: v\nl:\n  - a: 1\nm: w\n", edit.Way{"l", 0}, "k: v\nm: w\n"},
		{"comment above stays", "l:\n  - 1\n  # about 2\n  - 2\n  - 3\n", edit.Way{"l", 1}, "l:\n  - 1\n  # about 2\n  - 3\n"},
		{"key", "a: 1\nb: |\n  text\n  more\nc: 3\n", edit.Way{"b"}, "a: 1\nc: 3\n"},
		{"last key without an end", "a: 1\nb: 2", edit.Way{"b"}, "a: 1\n"},
		{"key of an entry", "l:\n  - a: 1\n    b: 2\n    c: 3\n", edit.Way{"l", 0, "b"}, "l:\n  - a: 1\n    c: 3\n"},
		{"only key of the only entry", "k: v\nl: [{a: 1}]\n", edit.Way{"l", 0, "a"}, "k: v\n"},
		{"in brackets, first", "l: [a, b, c]\n", edit.Way{"l", 0}, "l: [b, c]\n"},
		{"in brackets, last", "l: [a, 'b', \"c\"]\n", edit.Way{"l", 2}, "l: [a, 'b']\n"},
		{"key in braces", "l:\n  - {a: 1, b: x, c: 3}\n", edit.Way{"l", 0, "b"}, "l:\n  - {a: 1, c: 3}\n"},
		{"list in one column", "l:\n- a\n- b\nk: v\n", edit.Way{"l", 1}, "l:\n- a\nk: v\n"},
		{"windows line ends", "a: 1\r\nb: 2\r\nc: 3\r\n", edit.Way{"b"}, "a: 1\r\nc: 3\r\n"},
	} {
		text, err := edit.Parse("m.yaml", []byte(c.text))
		require.NoError(t, err, c.name)
		require.NoError(t, text.Delete(c.way), c.name)
		assert.Equal(t, c.want, string(text.Bytes()), c.name)
	}
	for _, c := range []struct {
		text string
		way  edit.Way
	}{
		{"a: 1\n", edit.Way{"b"}}, {"a: 1\n", edit.Way{"a"}}, {"l:\n  - a: 1\n    b: 2\n", edit.Way{"l", 0, "a"}}, {"l: [1, 2]\n", edit.Way{"l", 2}}, {"a: 1\nb: 2\n", edit.Way{"a", 0}},
	} {
		text, err := edit.Parse("m.yaml", []byte(c.text))
		require.NoError(t, err, c.text)
		var refused *edit.Refused
		require.ErrorAs(t, text.Delete(c.way), &refused, "%q became %q", c.text, text.Bytes())
		assert.Equal(t, c.text, string(text.Bytes()))
	}
}
