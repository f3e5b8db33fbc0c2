package manifest_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/textproto"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
)

// editor is yaml-language-server (npm), which editors run, over its standard
// input and output (Language Server Protocol 3.17, "Base Protocol").
type editor struct {
	t   *testing.T
	in  io.WriteCloser
	out *bufio.Reader
	ids int
}

const languageServer = "../testdata/web/node_modules/yaml-language-server/bin/yaml-language-server"

func startEditor(t *testing.T) *editor {
	t.Helper()
	server, err := filepath.Abs(languageServer)
	require.NoError(t, err)
	require.FileExists(t, server, "testdata/test-tools installs it")
	cmd := exec.Command("node", server, "--stdio")
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = in.Close(); _ = cmd.Process.Kill(); _ = cmd.Wait() })
	e := &editor{t: t, in: in, out: bufio.NewReader(out)}
	e.ask("initialize", map[string]any{"processId": os.Getpid(), "rootUri": nil, "capabilities": map[string]any{}})
	e.tell("initialized", map[string]any{})
	return e
}

func (e *editor) send(message map[string]any) {
	e.t.Helper()
	message["jsonrpc"] = "2.0"
	text, err := json.Marshal(message)
	require.NoError(e.t, err)
	_, err = fmt.Fprintf(e.in, "Content-Length: %d\r\n\r\n%s", len(text), text)
	require.NoError(e.t, err)
}

func (e *editor) tell(method string, params any) {
	e.send(map[string]any{"method": method, "params": params})
}

// message is what the server says: an answer, a note, or a question of its own.
type message struct {
	ID     json.RawMessage
	Method string
	Params json.RawMessage
	Result json.RawMessage
}

func (e *editor) next() (m message) {
	e.t.Helper()
	head, err := textproto.NewReader(e.out).ReadMIMEHeader()
	require.NoError(e.t, err)
	n, err := strconv.Atoi(head.Get("Content-Length"))
	require.NoError(e.t, err)
	text := make([]byte, n)
	_, err = io.ReadFull(e.out, text)
	require.NoError(e.t, err)
	require.NoError(e.t, json.Unmarshal(text, &m))
	if m.Method != "" && m.ID != nil { // a question: nothing is set
		var answer any
		if m.Method == "workspace/configuration" {
			answer = []any{map[string]any{}, nil, nil, nil, nil}
		}
		e.send(map[string]any{"id": m.ID, "result": answer})
	}
	return m
}

func (e *editor) ask(method string, params any) json.RawMessage {
	e.t.Helper()
	e.ids++
	e.send(map[string]any{"id": e.ids, "method": method, "params": params})
	for {
		if m := e.next(); m.Method == "" && string(m.ID) == strconv.Itoa(e.ids) {
			return m.Result
		}
	}
}

// complaints opens a file and gives what the editor would underline in it.
func (e *editor) complaints(path, text string) []string {
	e.t.Helper()
	uri := "file://" + path
	e.tell("textDocument/didOpen", map[string]any{"textDocument": map[string]any{"uri": uri, "languageId": "yaml", "version": 1, "text": text}})
	for {
		m := e.next()
		if m.Method != "textDocument/publishDiagnostics" {
			continue
		}
		var said struct {
			URI         string
			Diagnostics []struct{ Message string }
		}
		require.NoError(e.t, json.Unmarshal(m.Params, &said))
		if said.URI == uri {
			all := []string{}
			for _, d := range said.Diagnostics {
				all = append(all, d.Message)
			}
			return all
		}
	}
}

// completions are the words that the editor offers at a place, from 0.
func (e *editor) completions(path string, line, column int) []string {
	e.t.Helper()
	result := e.ask("textDocument/completion", map[string]any{
		"textDocument": map[string]any{"uri": "file://" + path}, "position": map[string]any{"line": line, "character": column},
	})
	var list struct{ Items []struct{ Label string } }
	require.NoError(e.t, json.Unmarshal(result, &list))
	var words []string
	for _, i := range list.Items {
		words = append(words, i.Label)
	}
	return words
}

// The right files that mistakes are made in.
const (
	rightShop = `shop: Hollin Quay Marine Electrics
packages: packages
ledger: ledger.db
call: the shop's bench
trusts:
  - shop: Hollin Quay Marine Electrics
    key: RWRBeuaRV2idbNUi17yW9e7tmRumVepjgb4xqEflW6w7D4G+Ei/Msq0c
`
	rightModel = `model: fennick-plot-9
maker: Fennick
name: Plot 9 chart display
kind: chart display
alike: true
card:
  least: 4GB
  most: 32GB
  file_systems: [fat32]
  slot: microSD
  folder: any
  at_power_up: false
passes_on: [fennick-sweep-2]
checks:
  - {check: radar picture, text: Compare with the chart.}
releases:
  - version: 4.0-7
    released: 2026-03-02
    files:
      - name: plot9-4.0-7.zip
        size: 30001
        sha256: a7a6cca6607efde2989909923954fcd42a5d5c4bdee05f10ace6c397035881af
        unpack: zip
        members:
          - {name: plot/main.bin, size: 12, sha256: a7a6cca6607efde2989909923954fcd42a5d5c4bdee05f10ace6c397035881af}
        trust: maker
        added: 2026-03-04
    over: ">= 3.4"
    needs:
      - {model: fennick-sweep-2, version: ">= 1.8", by: end}
    minutes: 15
    way_back: false
    settings: kept
    after: [version shown, settings and waypoints]
    notes: a note
`
	rightVessel = `vessel: kittiwake
name: Kittiwake
identity: {imo: 9074729, mmsi: 232001234, hull: HQ 214}
berth: Hollin Quay, C 14
supply: 12V
folders: device
devices:
  - id: helm
    model: fennick-plot-9
    serial: 00231
    place: lower helm
    version: 3.4
    variant: eu
    hold: "< 5"
    hold_why: the owner wants it
  - id: radar
    model: fennick-sweep-2
    version: unknown
    through: helm
`
	sweep = `model: fennick-sweep-2
maker: Fennick
name: Sweep 2 radar
kind: radar
`
)

var rightFiles = map[string]string{"shop": rightShop, "model": rightModel, "vessel": rightVessel}

// slips are mistakes, and changes that are none, that one file alone decides: the
// kind of file, what stands there, and what instead.
var slips = [][3]string{
	{"shop", "shop: Hollin Quay Marine Electrics\n", "shop: \"\"\n"},
	{"shop", "packages: packages", "packages: ../elsewhere"},
	{"shop", "packages: packages", "packages: /srv/packages"},
	{"shop", "packages: packages", "packages: boats/packages"},
	{"shop", "packages: packages", "packages: pack?ages"},
	{"shop", "packages: packages", "packages: packages/"},
	{"shop", "ledger: ledger.db", "ledger: ../ledger.db"},
	{"shop", "ledger: ledger.db", "ledger: postgres://van@server/ledger"},
	{"shop", "ledger: ledger.db", "ledger: a/b/ledger.db"},
	{"shop", "ledger: ledger.db", "ledger: \"a//b\""},
	{"shop", "key: RW", "key: XY"},
	{"shop", "Msq0c", "Msq0"},
	{"shop", "call: the shop's bench", "call: 960142"},
	{"shop", "call: the shop's bench", "call: [a, b]"},
	{"model", "model: fennick-plot-9", "model: Fennick Plot 9"},
	{"model", "model: fennick-plot-9", "model: -plot"},
	{"model", "model: fennick-plot-9", "model: con"},
	{"model", "name: Plot 9 chart display", "name: 9"},
	{"model", "kind: chart display", "kind: chartplotter"},
	{"model", "kind: chart display", "kind: Chart display"},
	{"model", "alike: true", "alike: yes"},
	{"model", "alike: true", "alike: \"true\""},
	{"model", "alike: true", "alike: 1"},
	{"model", "least: 4GB", "least: 4 gigabytes"},
	{"model", "least: 4GB", "least: 4000000000"},
	{"model", "least: 4GB", "least: -4"},
	{"model", "least: 4GB", "least: 4.5GB"},
	{"model", "least: 4GB", "least: 3GiB"},
	{"model", "least: 4GB", "least: four"},
	{"model", "least: 4GB", "least: 1e9"},
	{"model", "[fat32]", "fat32"},
	{"model", "[fat32]", "[ntfs]"},
	{"model", "[fat32]", "[fat32, exfat]"},
	{"model", "[fat32]", "[FAT32]"},
	{"model", "slot: microSD", "slot: microsd"},
	{"model", "slot: microSD", "slot: USB"},
	{"model", "folder: any", "folder: /"},
	{"model", "folder: any", "folder: /update"},
	{"model", "folder: any", "folder: /a/b c"},
	{"model", "folder: any", "folder: update"},
	{"model", "folder: any", "folder: /../up"},
	{"model", "folder: any", "folder: /up/.."},
	{"model", "folder: any", "folder: /up/"},
	{"model", "folder: any", "folder: //up"},
	{"model", "folder: any", "folder: /up."},
	{"model", "folder: any", "folder: /up*date"},
	{"model", "folder: any", "folder: '/ up'"},
	{"model", "folder: any", "folder: /_card"},
	{"model", "folder: any", "folder: /_CARD/x"},
	{"model", "folder: any", "folder: /aux"},
	{"model", "folder: any", "folder: /x/com1.bin"},
	{"model", "folder: any", "folder: /.hidden"},
	{"model", "folder: any", "folder: ''"},
	{"model", "[fennick-sweep-2]", "fennick-sweep-2"},
	{"model", "[fennick-sweep-2]", "[Sweep 2]"},
	{"model", "[fennick-sweep-2]", "[]"},
	{"model", "check: radar picture", "check: radar"},
	{"model", "version: 4.0-7", "version: four"},
	{"model", "version: 4.0-7", "version: 4.10"},
	{"model", "version: 4.0-7", "version: v4.0"},
	{"model", "version: 4.0-7", "version: unknown"},
	{"model", "version: 4.0-7", "version: 4.0 beta"},
	{"model", "released: 2026-03-02", "released: 02/03/2026"},
	{"model", "released: 2026-03-02", "released: 2026-13-02"},
	{"model", "released: 2026-03-02", "released: 2026-03-32"},
	{"model", "released: 2026-03-02", "released: \"2026-03-02\""},
	{"model", "released: 2026-03-02", "released: March 2026"},
	{"model", "name: plot9-4.0-7.zip", "name: ../plot.zip"},
	{"model", "name: plot9-4.0-7.zip", "name: a/../plot.zip"},
	{"model", "name: plot9-4.0-7.zip", "name: /plot.zip"},
	{"model", "name: plot9-4.0-7.zip", "name: 'plot:9.zip'"},
	{"model", "name: plot9-4.0-7.zip", "name: nul"},
	{"model", "name: plot9-4.0-7.zip", "name: lpt1.zip"},
	{"model", "name: plot9-4.0-7.zip", "name: 'plot.zip '"},
	{"model", "name: plot9-4.0-7.zip", "name: plot."},
	{"model", "name: plot9-4.0-7.zip", "name: _card/plot.zip"},
	{"model", "name: plot9-4.0-7.zip", "name: radar/plot 9+.zip"},
	{"model", "size: 30001", "size: 30 001"},
	{"model", "size: 30001", "size: 30kB"},
	{"model", "size: 30001", "size: 30.5"},
	{"model", "size: 30001", "size: -1"},
	{"model", "881af\n        unpack", "881\n        unpack"},
	{"model", "881af\n        unpack", "881ag\n        unpack"},
	{"model", "unpack: zip", "unpack: tar"},
	{"model", "        unpack: zip\n", ""},
	{"model", "members:\n          - {name: plot/main.bin, size: 12, sha256: a7a6cca6607efde2989909923954fcd42a5d5c4bdee05f10ace6c397035881af}", "members: []"},
	{"model", "        members:\n          - {name: plot/main.bin, size: 12, sha256: a7a6cca6607efde2989909923954fcd42a5d5c4bdee05f10ace6c397035881af}\n", ""},
	{"model", "name: plot/main.bin, ", ""},
	{"model", "plot/main.bin", "../main.bin"},
	{"model", "trust: maker", "trust: vendor"},
	{"model", "trust: maker", "trust: ours"},
	{"model", "added: 2026-03-04", "added: today"},
	{"model", "over: \">= 3.4\"", "over: 3.4"},
	{"model", "over: \">= 3.4\"", "over: 3.4-1"},
	{"model", "over: \">= 3.4\"", "over: \">= 3.4, < 5\""},
	{"model", "over: \">= 3.4\"", "over: \">= 3.4 < 5\""},
	{"model", "over: \">= 3.4\"", "over: \"~3.4\""},
	{"model", "over: \">= 3.4\"", "over: \">=\""},
	{"model", "over: \">= 3.4\"", "over: \"\""},
	{"model", "version: \">= 1.8\"", "version: 1.8"},
	{"model", "version: \">= 1.8\"", "version: \"\""},
	{"model", "by: end", "by: finish"},
	{"model", "by: end", "by: start"},
	{"model", "minutes: 15", "minutes: a quarter"},
	{"model", "minutes: 15", "minutes: 15.5"},
	{"model", "minutes: 15", "minutes: -15"},
	{"model", "minutes: 15", "minutes: 1441"},
	{"model", "minutes: 15", "minutes: 1440"},
	{"model", "way_back: false", "way_back: no"},
	{"model", "way_back: false", "way_back: maybe"},
	{"model", "settings: kept", "settings: keep"},
	{"model", "[version shown, settings and waypoints]", "[version shown, waypoints]"},
	{"model", "[version shown, settings and waypoints]", "version shown"},
	{"model", "notes: a note", "notes: 12"},
	{"model", "notes: a note", "note: a note"},
	{"vessel", "vessel: kittiwake", "vessel: Kittiwake"},
	{"vessel", "vessel: kittiwake", "vessel: kitti_wake"},
	{"vessel", "name: Kittiwake", "name:"},
	{"vessel", "imo: 9074729", "imo: 907472"},
	{"vessel", "imo: 9074729", "imo: \"9074729\""},
	{"vessel", "mmsi: 232001234", "mmsi: 23200123"},
	{"vessel", "mmsi: 232001234", "mmsi: 2320012345"},
	{"vessel", "mmsi: 232001234", "mmsi: \"23200123a\""},
	{"vessel", "berth: Hollin Quay, C 14", "berth: 14"},
	{"vessel", "supply: 12V", "supply: 12"},
	{"vessel", "folders: device", "folders: devices"},
	{"vessel", "folders: device", "folders: model"},
	{"vessel", rightVessel[strings.Index(rightVessel, "devices:\n"):], "devices: []\n"},
	{"vessel", rightVessel[strings.Index(rightVessel, "devices:\n"):], "devices:\n"},
	{"vessel", rightVessel[strings.Index(rightVessel, "devices:\n"):], ""},
	{"vessel", "id: helm", "id: Helm 1"},
	{"vessel", "id: radar", "id: helm"},
	{"vessel", "    version: 3.4\n", ""},
	{"vessel", "version: 3.4", "version: three"},
	{"vessel", "version: 3.4", "version: 3.4-1"},
	{"vessel", "hold: \"< 5\"", "hold: 5"},
	{"vessel", "hold: \"< 5\"", "hold: \"under 5\""},
	{"vessel", "    hold_why: the owner wants it\n", ""},
	{"vessel", "    hold: \"< 5\"\n", ""},
	{"vessel", "through: helm", "through: [helm]"},
	{"vessel", "through: helm", "through: Helm"},
	{"vessel", "serial: 00231", "serial: [1]"},
	{"vessel", "place: lower helm", "place: 3"},
	{"vessel", "devices:", "device:"},
}

// elsewhere are mistakes that no schema can tell of, by what was written, and why
// not.
var elsewhere = map[string]string{
	"least: 1e9": "to JSON Schema 1e9 is the whole number 1000000000",
	"id: helm":   "that entries of a list differ in one key can't be said",
}

// TestEditorsAgree compares, file by file, what an editor says with what the
// program says of mistakes that one file alone decides.
func TestEditorsAgree(t *testing.T) {
	e := startEditor(t)
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, manifest.Schemas))
	differ := 0
	for i, s := range append([][3]string{{"shop", "", ""}, {"model", "", ""}, {"vessel", "", ""}}, slips...) {
		kind, text := s[0], rightFiles[s[0]]
		require.Contains(t, text, s[1], "slip %d", i)
		text = strings.Replace(text, s[1], s[2], 1)
		if slices.Contains([]string{"", s[2]}, s[1]) {
			require.True(t, s[1] == "", "slip %d changes nothing", i)
		}
		refused := refusedBy(t, kind, text)
		said := e.complaints(filepath.Join(dir, "f"+strconv.Itoa(i)+".yaml"), "# yaml-language-server: $schema=schema/"+kind+".schema.json\n"+text)
		if (len(refused) > 0) != (len(said) > 0) {
			differ++
			if why := elsewhere[s[2]]; why == "" {
				t.Errorf("%s: %q instead of %q: the program says %q, the editor %q", kind, s[2], s[1], refused, said)
			}
		}
	}
	t.Logf("%d of %d files are judged otherwise by the editor", differ, len(slips)+3)
	assert.LessOrEqual(t, differ, len(elsewhere))
}

// refusedBy gives what the program says of a file in a shop that is right else.
func refusedBy(t *testing.T, kind, text string) []string {
	t.Helper()
	dir := t.TempDir()
	files := map[string]string{
		"shop.yaml": rightShop, "catalogue/fennick-plot-9.yaml": rightModel, "catalogue/fennick-sweep-2.yaml": sweep, "vessels/kittiwake.yaml": rightVessel,
	}
	path := map[string]string{"shop": "shop.yaml", "model": "catalogue/fennick-plot-9.yaml", "vessel": "vessels/kittiwake.yaml"}[kind]
	files[path] = text
	for name, content := range files {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600))
	}
	_, err := manifest.Load(dir)
	found := []string{}
	var mistakes manifest.Mistakes
	if err != nil {
		require.ErrorAs(t, err, &mistakes)
	}
	for _, m := range mistakes {
		if strings.HasSuffix(m.At.File, path) {
			found = append(found, m.What+": "+m.Found)
		}
	}
	return found
}

// At every closed list the editor offers its words.
func TestEditorsOfferClosedLists(t *testing.T) {
	e := startEditor(t)
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, manifest.Schemas))
	for i, c := range []struct {
		kind, before string
		words        []string
	}{
		{"model", "kind: ", []string{"chart display", "radar", "transponder"}},
		{"model", "card:\n  slot: ", manifest.Slots},
		{"model", "card:\n  file_systems:\n    - ", manifest.FileSystems},
		{"model", "releases:\n  - settings: ", []string{manifest.SettingsKept, manifest.SettingsLost}},
		{"model", "releases:\n  - after:\n      - ", manifest.Checks},
		{"model", "releases:\n  - files:\n      - trust: ", manifest.Trusts},
		{"vessel", "folders: ", []string{manifest.FoldersByDevice, manifest.FoldersByModel}},
	} {
		path := filepath.Join(dir, "c"+strconv.Itoa(i)+".yaml")
		text := "# yaml-language-server: $schema=schema/" + c.kind + ".schema.json\n" + c.before
		e.complaints(path, text)
		lines := strings.Split(text, "\n")
		offered := e.completions(path, len(lines)-1, len(lines[len(lines)-1]))
		for _, w := range c.words {
			assert.Contains(t, offered, w, c.before)
		}
	}
}
