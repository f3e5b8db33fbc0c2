package edit_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
	"gotest.tools/v3/golden"

	"cardwright/manifest"
	"cardwright/manifest/edit"
)

// change is one change of a text.
type change func(t *edit.Text) error

func set(v edit.Value, order edit.KeyOrder, way ...any) change {
	return func(t *edit.Text) error { return t.Set(way, v, order) }
}

func insert(i int, v edit.Value, way ...any) change {
	return func(t *edit.Text) error { return t.Insert(way, i, v, nil) }
}

var newRelease = edit.Map{
	{"version", "4.1-2"},
	{"released", edit.Plain("2026-06-01")},
	{"files", edit.List{edit.Inline{{"name", "plot12-4.1-2.upd"}, {"size", edit.Plain("44001280")}, {"sha256", strings.Repeat("0a", 32)}}}},
	{"needs", nil},
	{"over", ">= 3.0"},
	{"after", edit.List{"version shown", "depth shown"}},
}

var newDevice = edit.Map{{"id", "ais"}, {"model", "solveld-beacon-1"}, {"serial", "00012"}, {"version", "1.10"}}

// Each golden file shows a file of the demo shop, or one in all styles, after
// changes: whoever updates them reads the difference to the file.
func TestChanges(t *testing.T) {
	demo := func(name string) string {
		return filepath.Join("..", "..", "testdata", "shop", filepath.FromSlash(name))
	}
	for _, c := range []struct {
		name, file string
		changes    []change
	}{
		{"release-first", demo("catalogue/fennick-plot-12.yaml"), []change{insert(0, newRelease, "releases")}},
		{"release-last", demo("catalogue/fennick-plot-12.yaml"), []change{insert(2, newRelease, "releases")}},
		{"file-notes", demo("catalogue/fennick-plot-12.yaml"), []change{
			set("maker", nil, "releases", 0, "files", 0, "trust"),
			set("a: colon # and a hash", nil, "releases", 1, "notes"),
			insert(1, edit.Inline{{"name", "x.bin"}, {"size", edit.Plain("1")}}, "releases", 1, "files"),
			insert(0, "PLOT 12", "on_network"),
		}},
		{"device", demo("vessels/kittiwake.yaml"), []change{
			insert(7, newDevice, "devices"),
			set("5.10", nil, "devices", 5, "version"),
			set("flybridge", nil, "devices", 4, "through"),
			set(edit.Plain("24V"), nil, "supply"),
		}},
		{"odd", filepath.Join("testdata", "odd.yaml"), []change{
			set("9.0", nil, "devices", 0, "version"),
			set("9.1", nil, "devices", 1, "version"),
			set("9.2", nil, "devices", 2, "version"),
			set("arch", edit.KeyOrder{"model", "id", "place"}, "devices", 0, "place"),
			set("arch", edit.KeyOrder{"model", "place"}, "devices", 2, "place"),
			set("00232", edit.KeyOrder{"no such key", "serial"}, "devices", 1, "serial"),
			set("HQ 215", nil, "identity", "hull"),
			set("1234567", nil, "identity", "imo"),
			insert(2, "bridge", "devices", 2, "through"),
			insert(3, newDevice, "devices"),
			insert(0, newDevice, "devices"),
			set("model", edit.KeyOrder{"supply", "folders", "devices"}, "folders"),
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, err := os.ReadFile(c.file)
			require.NoError(t, err)
			text, err := edit.Parse(c.file, before)
			require.NoError(t, err)
			for i, change := range c.changes {
				require.NoError(t, change(text), "change %d", i)
			}
			golden.AssertBytes(t, text.Bytes(), c.name+".golden")
			assert.Equal(t, comments(before), comments(text.Bytes()))
		})
	}
}

// comments are the comments of a text, in their order.
func comments(text []byte) (all []string) {
	for line := range strings.Lines(string(text)) {
		if _, c, ok := strings.Cut(" "+strings.TrimSpace(line), " #"); ok && !strings.Contains(line, `"`) {
			all = append(all, c)
		}
	}
	return all
}

// Windows editors: their line ends and mark stay, and new lines get theirs.
func TestLineEnds(t *testing.T) {
	text, err := edit.Parse("v.yaml", []byte("\ufeffvessel: kittiwake\r\ndevices:\r\n  - id: helm\r\n    version: 1"))
	require.NoError(t, err)
	require.NoError(t, text.Insert(edit.Way{"devices"}, 1, edit.Map{{"id", "radar"}}, nil))
	require.NoError(t, text.Set(edit.Way{"vessel"}, "skerry-light", nil))
	require.NoError(t, text.Set(edit.Way{"name"}, "Skerry Light", edit.VesselKeys))
	assert.Equal(t, "\ufeffvessel: skerry-light\r\nname: Skerry Light\r\ndevices:\r\n  - id: helm\r\n    version: 1\r\n  - id: radar", string(text.Bytes()))
}

func TestEmptyList(t *testing.T) {
	text, err := edit.Parse("v.yaml", []byte("devices: []   # none yet\nname: Kittiwake\nafter: []\nm: {l: [], k: {}}\n"))
	require.NoError(t, err)
	require.NoError(t, text.Insert(edit.Way{"devices"}, 0, newDevice, nil))
	require.NoError(t, text.Insert(edit.Way{"after"}, 0, "depth shown", nil))
	require.NoError(t, text.Insert(edit.Way{"m", "l"}, 0, "a", nil))
	require.NoError(t, text.Set(edit.Way{"m", "k", "x"}, "y", nil))
	assert.Equal(t, "devices:\n  - id: ais\n    model: solveld-beacon-1\n    serial: \"00012\"\n    version: \"1.10\"   # none yet\n"+
		"name: Kittiwake\nafter: [depth shown]\nm: {l: [a], k: {x: y}}\n", string(text.Bytes()))
}

// What isn't understood is refused, with the place and what to write there.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		text   string
		change change
	}{
		{"a: |\n  text\nb: 1\n", set("x", nil, "a")},
		{"a: long\n  text\nb: 1\n", set("x", nil, "a")},
		{"a:\nb: 1\n", set("x", nil, "a")},
		{"a: {b: 1}\n", set("x", nil, "a")},
		{"a: 1\n", set("x", nil, "b", "c")},
		{"a: [1]\n", insert(2, "x", "a")},
		{"a: 1\n", insert(0, "x", "a")},
		{"a:\n- 1\n-\n  2\n", insert(1, "x", "a")},
		{"a: 1\n...\n", set("x", nil, "b")},
		{"a: [long\n  text]\n", insert(1, "x", "a")},
	} {
		text, err := edit.Parse("catalogue/m.yaml", []byte(c.text))
		require.NoError(t, err, c.text)
		var refused *edit.Refused
		require.ErrorAs(t, c.change(text), &refused, "%q became %q", c.text, text.Bytes())
		assert.Equal(t, "catalogue/m.yaml", refused.At.File)
		assert.NotZero(t, refused.At.Line)
		assert.Contains(t, refused.Error(), "write it by hand")
		assert.Equal(t, c.text, string(text.Bytes()))
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "- a\n", "a", "a: 1\rb: 2\n", "a: \xff\n", "a: [", strings.Repeat("a: 1 #\n", 60_000), "a: &b 1\n", laughs(), strings.Repeat("{a: [", 9000), "a: 1\n---\nb: 2\n"} {
		_, err := edit.Parse("m.yaml", []byte(text))
		assert.Error(t, err, "%.20q", text)
	}
}

// laughs is a bomb of aliases: ten lines that expand to 10¹⁰ words.
func laughs() string {
	text := "a0: &a0 [ha, ha, ha, ha, ha, ha, ha, ha, ha, ha]\n"
	for i := range 9 {
		text += fmt.Sprintf("a%d: &a%d [%s]\n", i+1, i+1, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*a%d, ", i), 10), ", "))
	}
	return text
}

// FuzzChange: whatever the file, a change is refused and leaves every byte, or
// keeps every byte outside the place and says what it should by the parser.
func FuzzChange(f *testing.F) {
	odd, err := os.ReadFile(filepath.Join("testdata", "odd.yaml"))
	require.NoError(f, err)
	for _, s := range []string{
		string(odd), "a: [1, {b: c}]\n", "a:\n- b: 1\n  c: |\n    # text\n- 2\n", "a: {}\nb: []\n",
		"{a: 1, b: [x,], 'c': \"d\"}", "a:\n  - b\n  # foot\n\n# end\n", "\ufeffa: 'it''s'\r\nb: \"\\\"\"\r\n",
	} {
		f.Add([]byte(s), "x: # y", uint8(0), uint8(1))
		f.Add([]byte(s), "1.10", uint8(1), uint8(0))
	}
	f.Fuzz(func(t *testing.T, data []byte, value string, which, kind uint8) {
		if len(data) > 4<<10 || strings.ContainsAny(value, "\x00") {
			return
		}
		text, err := edit.Parse("f.yaml", data)
		if err != nil {
			return
		}
		root, err := manifest.Read("f.yaml", data)
		require.NoError(t, err)
		ways := waysOf(root, nil)
		way := ways[int(which)%len(ways)]
		switch kind % 4 {
		case 0:
			err = text.Set(way, value, nil)
		case 1:
			err = text.Insert(way, int(kind/4)%(text.Len(way...)+1), edit.Map{{"k", value}, {"l", edit.List{value}}}, nil)
		case 2:
			err = text.Set(append(way[:len(way):len(way)], "fresh key"), value, nil)
		case 3:
			err = text.Insert(way, int(kind/4)%(text.Len(way...)+1), value, nil)
		}
		after := text.Bytes()
		var refused *edit.Refused
		if errors.As(err, &refused) {
			require.Equal(t, data, after)
			return
		}
		require.NoError(t, err)
		_, err = manifest.Read("f.yaml", after)
		require.NoError(t, err)
		if kind%4 != 0 && !strings.Contains(string(data), "[]") && !strings.Contains(string(data), "[") {
			require.True(t, putIn(string(data), string(after)), "%q became %q", data, after)
		}
	})
}

// putIn reports whether a text became another by putting text in at one place.
func putIn(before, after string) bool {
	n := 0
	for n < len(before) && n < len(after) && before[n] == after[n] {
		n++
	}
	for ; n >= 0; n-- {
		if strings.HasSuffix(after[n:], before[n:]) {
			return true
		}
	}
	return false
}

// waysOf are the ways to all values of a file.
func waysOf(n *yaml.Node, way edit.Way) []edit.Way {
	ways := []edit.Way{}
	for i, c := range n.Content {
		var step any = i
		if n.Kind == yaml.MappingNode {
			if i%2 == 1 {
				continue
			}
			step, c = c.Value, n.Content[i+1]
		}
		to := append(way[:len(way):len(way)], step)
		ways = append(append(ways, to), waysOf(c, to)...)
	}
	if len(ways) == 0 {
		return []edit.Way{append(way[:len(way):len(way)], "k")}
	}
	return ways
}
