package export_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/export"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

var ctx = context.Background()

const evil = `<img src=x onerror="document.title='taken'">`

// fleetOf makes a ledger of three vessels, one with a hostile name, one in
// dispute, and gives what exports are made of.
func fleetOf(t testing.TB) (*store.Ledger, audit.Fleet, export.About) {
	t.Helper()
	l, err := store.Open(ctx, filepath.Join(t.TempDir(), "ledger.db"), store.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, l.Close()) })
	w := ledgertest.NewWorld(4)
	var entries []ledger.Entry
	for n := range 3 {
		e := w.TakeOn(n, 0)
		if n == 1 {
			e.TakenOn.Name = evil
			e.TakenOn.Devices[2].Version = version.Unknown
			e.TakenOn.IMO = "=1+1"
		}
		entries = append(entries, e)
		if n != 1 {
			entries = append(entries, w.Visit(n, 10*n+5)...)
		}
	}
	appendTo(t, l, "Ada", entries...)
	radar := ledgertest.Equipment[2]
	step := func(hours int, after version.V) ledger.Entry {
		return ledger.Entry{
			At: ledgertest.Day(60).Add(time.Duration(hours) * time.Hour), Kind: ledger.StepDone, Vessel: ledgertest.Vessel(2),
			Step: &ledger.Step{Device: radar, Before: "1.0", After: after, Note: "-1+2"},
		}
	}
	bad := appendTo(t, l, "Ada", step(0, "1.10"))[0]
	ledgertest.Elsewhere(t, l, "Ben", step(1, "4.9"))
	appendTo(t, l, "Ada", ledger.Entry{
		At: ledgertest.Day(70), Kind: ledger.Correction, Vessel: ledgertest.Vessel(2),
		Correction: &ledger.Correcting{Of: bad.ID.String(), Why: "misread", Instead: ptr(step(0, "4.8"))},
	})
	models := []*manifest.Model{{ID: "fennick-plot-12", Releases: []*manifest.Release{{Version: "99"}}}}
	fleet, err := audit.OfFleet(ctx, l, models, audit.Filter{})
	require.NoError(t, err)
	return l, fleet, export.About{Shop: ledgertest.Shop, Ledger: l.ID(), Made: ledgertest.Day(90)}
}

func ptr[T any](v T) *T { return &v }

func appendTo(t testing.TB, l *store.Ledger, writer string, entries ...ledger.Entry) []ledger.Event {
	t.Helper()
	events, err := l.Append(ctx, ledgertest.Writer(writer), entries...)
	require.NoError(t, err)
	return events
}

func eventsOf(l *store.Ledger) export.Events {
	return func(give func(ledger.Event) error) error { return audit.Events(ctx, l, "", audit.Filter{}, give) }
}

// The judge is the published schema of CycloneDX 1.6, as the project's own Go
// module ships it, and a validator of JSON Schema that isn't ours.
func TestCycloneDXIsValid(t *testing.T) {
	_, fleet, about := fleetOf(t)
	var out bytes.Buffer
	require.NoError(t, export.CycloneDX(&out, about, fleet))
	schema := cycloneSchema(t)
	require.NoError(t, schema.Validate(parsed(t, out.Bytes())))

	var bom map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &bom))
	assert.Equal(t, "1.6", bom["specVersion"])
	types := strings.Count(out.String(), `"type": "firmware"`)
	assert.Equal(t, 15, strings.Count(out.String(), `"type": "device"`))
	assert.Equal(t, 15, types, "one device is unknown, one disputed")
	assert.Contains(t, out.String(), `"version": "4.9"`)
	assert.Contains(t, out.String(), `"version": "4.8"`)

	// The judge would find a mistake.
	bom["components"].([]any)[0].(map[string]any)["type"] = "boat"
	spoiled, err := json.Marshal(bom)
	require.NoError(t, err)
	assert.Error(t, schema.Validate(parsed(t, spoiled)))

	var again bytes.Buffer
	require.NoError(t, export.CycloneDX(&again, about, fleet))
	assert.Equal(t, out.String(), again.String(), "the same fleet gives the same document")

	var none bytes.Buffer
	require.NoError(t, export.CycloneDX(&none, about, audit.Fleet{}))
	assert.NoError(t, schema.Validate(parsed(t, none.Bytes())), "an empty fleet is valid too")
}

func parsed(t testing.TB, data []byte) any {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	require.NoError(t, err)
	return v
}

func cycloneSchema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/CycloneDX/cyclonedx-go").Output()
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	for url, name := range map[string]string{
		"http://cyclonedx.org/schema/bom-1.6.schema.json":  "bom-1.6.schema.json",
		"http://cyclonedx.org/schema/spdx.schema.json":     "spdx.schema.json",
		"http://cyclonedx.org/schema/jsf-0.82.schema.json": "jsf-0.82.schemax.json",
	} {
		data, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "schema", name))
		require.NoError(t, err)
		require.NoError(t, c.AddResource(url, parsed(t, data)))
	}
	s, err := c.Compile("http://cyclonedx.org/schema/bom-1.6.schema.json")
	require.NoError(t, err)
	return s
}

// Anybody can check the JSON export without this program: here with another
// implementation of RFC 8785, SHA-256 and Ed25519.
func TestJSONProvesItself(t *testing.T) {
	l, _, about := fleetOf(t)
	heads, err := l.Heads(ctx)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, export.JSON(&out, about, heads, eventsOf(l)))
	var doc struct {
		Format int
		Heads  ledger.Heads
		Events []struct {
			ID        string
			Signature []byte
			Statement json.RawMessage
		}
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &doc))
	assert.Equal(t, 1, doc.Format)
	require.Len(t, doc.Events, 26)
	last := map[string]string{}
	for _, e := range doc.Events {
		content, err := jcs.Transform(e.Statement)
		require.NoError(t, err)
		assert.Equal(t, e.ID, ledger.IDOf(content).String())
		var s struct{ Writer, Chain string }
		require.NoError(t, json.Unmarshal(content, &s))
		key, err := hex.DecodeString(s.Writer)
		require.NoError(t, err)
		assert.True(t, ed25519.Verify(key, []byte("cardwright ledger event "+e.ID), e.Signature))
		last[s.Writer] = e.ID
	}
	assert.Len(t, doc.Heads.Heads, len(last))
}

func TestCSVHoldsEveryEvent(t *testing.T) {
	l, _, _ := fleetOf(t)
	var out bytes.Buffer
	require.NoError(t, export.CSV(&out, eventsOf(l)))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	head := map[string]int{}
	for i, name := range rows[0] {
		head[name] = i
	}
	ids := map[string]bool{}
	var readings int
	for _, row := range rows[1:] {
		ids[row[head["event"]]] = true
		if row[head["version after"]] != "" {
			readings++
		}
		if row[head["kind"]] == "correction" {
			assert.Equal(t, "misread", row[head["reason"]])
			assert.Equal(t, "'4.8", row[head["version after"]], "bare, a spreadsheet makes a number or a day of it")
			assert.Equal(t, "'-1+2", row[head["note"]])
		}
	}
	assert.Len(t, ids, 26)
	assert.Greater(t, readings, 20)
}

// No cell begins in a way that a spreadsheet runs (OWASP, CSV Injection), and
// nothing else is lost.
func TestNoCSVCellIsAFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.StringMatching(`[ ]?[=+@＝a-][ -~\n]{0,20}`).Draw(t, "note")
		give := func(give func(ledger.Event) error) error {
			return give(ledger.Event{Statement: ledger.Statement{Technician: note, Entry: ledger.Entry{
				Kind: ledger.StepDone, Step: &ledger.Step{Note: note, Device: ledger.Device{ID: note}},
			}}})
		}
		var out bytes.Buffer
		require.NoError(t, export.CSV(&out, give))
		rows, err := csv.NewReader(&out).ReadAll()
		require.NoError(t, err)
		for _, cell := range rows[1] {
			trimmed := strings.TrimLeft(cell, " ")
			require.False(t, trimmed != "" && strings.ContainsAny(trimmed[:1], "=+-@\t\r"), cell)
		}
		last := rows[1][len(rows[1])-1]
		assert.Equal(t, note, strings.TrimPrefix(last, "'"))
	})
}

type full struct{ n int }

func (f *full) Write(p []byte) (int, error) {
	if f.n -= len(p); f.n < 0 {
		return 0, os.ErrClosed
	}
	return len(p), nil
}

func TestEveryWriteErrorSurfaces(t *testing.T) {
	l, fleet, about := fleetOf(t)
	heads, err := l.Heads(ctx)
	require.NoError(t, err)
	histories := func(v string) (audit.History, error) { return audit.OfVessel(ctx, l, v, time.Time{}, audit.Filter{}) }
	for name, write := range map[string]func(*full) error{
		"csv":       func(w *full) error { return export.CSV(w, eventsOf(l)) },
		"json":      func(w *full) error { return export.JSON(w, about, heads, eventsOf(l)) },
		"cyclonedx": func(w *full) error { return export.CycloneDX(w, about, fleet) },
		"html":      func(w *full) error { return export.HTML(w, about, fleet, nil, histories) },
	} {
		require.NoError(t, write(&full{1 << 30}), name)
		for _, n := range []int{0, 1000, 5000} {
			assert.ErrorIs(t, write(&full{n}), os.ErrClosed, "%s after %d bytes", name, n)
		}
	}
}
