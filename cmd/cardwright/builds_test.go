package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/verify/ledger/ledgertest"
)

// savedByBuilds holds what builds of cardwright have written, a folder for each: a
// shop, cards, a ledger on both engines, a filled sheet. This build and every
// later one reads all of it. testdata/written/save saves what a new build writes.
const savedByBuilds = "../../testdata/written"

// ended is what one command line ended with and what it wrote.
type ended struct {
	code      int
	out, errs string
}

func cardwright(t *testing.T, args ...string) ended {
	t.Helper()
	var out, errs bytes.Buffer
	c := run(context.Background(), args, strings.NewReader(""), &out, &errs)
	return ended{c, out.String(), errs.String()}
}

// unpacked is a file of a build's folder, unpacked sparsely.
func unpacked(t *testing.T, from, to string) string {
	t.Helper()
	in, err := os.Open(from)
	require.NoError(t, err)
	defer in.Close()
	packed, err := gzip.NewReader(in)
	require.NoError(t, err)
	out, err := os.Create(to)
	require.NoError(t, err)
	_, err = io.Copy(out, packed)
	require.NoError(t, err)
	require.NoError(t, out.Close())
	return to
}

// builds are the folders of savedByBuilds.
func builds(t *testing.T) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(savedByBuilds, "*", "shop"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(found), 3, "the folders of earlier builds and of this one")
	for i, f := range found {
		found[i] = filepath.Dir(f)
	}
	return found
}

// shopOf is a copy of a build's shop, with a settings folder that has no key.
func shopOf(t *testing.T, build string) string {
	t.Helper()
	dir := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "settings"))
	shop := filepath.Join(dir, "shop")
	require.NoError(t, os.CopyFS(shop, os.DirFS(filepath.Join(build, "shop"))))
	return shop
}

func TestCardsOfEveryBuildAreGood(t *testing.T) {
	for _, build := range builds(t) {
		t.Run(filepath.Base(build), func(t *testing.T) {
			shop := shopOf(t, build)
			unsigned := unpacked(t, filepath.Join(build, "unsigned.img.gz"), filepath.Join(t.TempDir(), "unsigned.img"))
			signed := unpacked(t, filepath.Join(build, "signed.img.gz"), filepath.Join(t.TempDir(), "signed.img"))
			order := filepath.Join(t.TempDir(), "order.txt")
			for _, args := range [][]string{
				{"verify", unsigned, "--for", "kittiwake", "--order", order},
				{"verify", signed, "--for", "kittiwake"},
				{"verify", signed},
			} {
				got := cardwright(t, append(args, "--shop", shop)...)
				assert.Equal(t, exitDone, got.code, "%v: %s%s", args, got.out, got.errs)
				assert.Contains(t, got.out, "✓ GOOD")
			}
			text, err := os.ReadFile(order)
			require.NoError(t, err)
			assert.Contains(t, string(text), "3.1 → 3.5")
			got := cardwright(t, "verify", unsigned, "--shop", shop)
			assert.Equal(t, exitUnchecked, got.code, got.out)
			assert.Contains(t, got.out, "a record signed by nobody known: for Kittiwake")
		})
	}
}

// heads are what ledger backup --json said when the ledger was saved.
func headsOf(t *testing.T, build string) (events int, path string) {
	t.Helper()
	path = filepath.Join(build, "heads.json")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var saved struct{ Check struct{ Events int } }
	require.NoError(t, json.Unmarshal(text, &saved))
	require.GreaterOrEqual(t, saved.Check.Events, 10)
	return saved.Check.Events, path
}

// loadDump fills an empty PostgreSQL database with a build's ledger.
func loadDump(t *testing.T, build string) string {
	t.Helper()
	address := ledgertest.Postgres(t)
	db, err := sql.Open("pgx", address)
	require.NoError(t, err)
	defer db.Close()
	dump, err := os.ReadFile(unpacked(t, filepath.Join(build, "ledger.sql.gz"), filepath.Join(t.TempDir(), "ledger.sql")))
	require.NoError(t, err)
	_, err = db.Exec(string(dump))
	require.NoError(t, err)
	return address
}

func TestLedgersOfEveryBuildAreWhole(t *testing.T) {
	for _, build := range builds(t) {
		t.Run(filepath.Base(build)+" SQLite", func(t *testing.T) {
			shop := shopOf(t, build)
			readsLedger(t, build, shop, unpacked(t, filepath.Join(build, "ledger.db.gz"), filepath.Join(shop, "ledger.db")))
		})
		t.Run(filepath.Base(build)+" PostgreSQL", func(t *testing.T) {
			shop, address := shopOf(t, build), loadDump(t, build)
			text, err := os.ReadFile(filepath.Join(shop, "shop.yaml"))
			require.NoError(t, err)
			text = bytes.Replace(text, []byte("ledger.db"), []byte(address), 1)
			require.NoError(t, os.WriteFile(filepath.Join(shop, "shop.yaml"), text, 0o600))
			readsLedger(t, build, shop, address)
		})
	}
}

// readsLedger asks a shop's ledger, which is the build's, as it was left, and
// then notes a visit in it.
func readsLedger(t *testing.T, build, shop, place string) {
	events, heads := headsOf(t, build)
	before, _ := os.ReadFile(place) // nothing on a server
	whole := func(events int) {
		t.Helper()
		got := cardwright(t, "audit", "check", "--heads", heads, "--json", "--shop", shop)
		assert.Equal(t, exitDone, got.code, got.out+got.errs)
		var report struct {
			Verdict string
			Events  int
		}
		require.NoError(t, json.Unmarshal([]byte(got.out), &report))
		assert.Equal(t, "whole", report.Verdict, got.out)
		assert.Equal(t, events, report.Events)
	}
	whole(events)
	got := cardwright(t, "audit", "vessel", "kittiwake", "--shop", shop)
	assert.Equal(t, exitDone, got.code, got.errs)
	for _, line := range []string{"helm (fennick-plot-9): 4.0-7", "radar (fennick-sweep-2): unknown", "step failed: radar", "put off: ais", "within 2 degrees"} {
		assert.Contains(t, got.out, line)
	}
	got = cardwright(t, "audit", "export", "--format", "json", "--shop", shop)
	assert.Equal(t, exitDone, got.code, got.errs)
	assert.Equal(t, events, strings.Count(got.out, `"signature":`))
	after, _ := os.ReadFile(place)
	assert.True(t, bytes.Equal(before, after), "asking changed the file")

	trustOwnKey(t, shop)
	got = cardwright(t, "ledger", "withdraw", "fennick-sweep-2", "1.8", "--why", "no picture", "--yes", "--shop", shop)
	require.Equal(t, exitDone, got.code, got.out+got.errs)
	whole(events + 1)
}

// trustOwnKey makes a key and adds it to those that the shop trusts.
func trustOwnKey(t *testing.T, shop string) {
	t.Helper()
	require.Equal(t, exitDone, cardwright(t, "key", "new").code)
	mine := strings.TrimPrefix(cardwright(t, "key", "show", "--shop", shop).out, "trusts:\n")
	file, err := os.OpenFile(filepath.Join(shop, "shop.yaml"), os.O_WRONLY|os.O_APPEND, 0)
	require.NoError(t, err)
	_, err = file.WriteString(mine)
	require.NoError(t, errors.Join(err, file.Close()))
}

// A visit is recorded from the sheet that a phone brought back, whichever build
// made the page.
func TestFilledSheetsOfEveryBuildAreRecorded(t *testing.T) {
	for _, build := range builds(t) {
		t.Run(filepath.Base(build), func(t *testing.T) {
			shop := shopOf(t, build)
			trustOwnKey(t, shop) // what is signed by another key counts in no answer
			require.Equal(t, exitDone, cardwright(t, "record", "kittiwake", "--taken-on", "--shop", shop).code)
			got := cardwright(t, "record", "kittiwake", "--sheet", filepath.Join(build, "filled.json"), "--yes", "--shop", shop)
			assert.Equal(t, exitDone, got.code, got.out+got.errs)
			assert.Contains(t, got.out, "step failed: radar")
			got = cardwright(t, "audit", "vessel", "kittiwake", "--shop", shop)
			assert.Contains(t, got.out, "helm (fennick-plot-9): 4.0-7")
		})
	}
}

// Records are read and written again byte for byte: a card is judged by that.
func TestRecordsOfEveryBuildAreRead(t *testing.T) {
	for _, build := range builds(t) {
		text, err := os.ReadFile(filepath.Join(build, "record.json"))
		require.NoError(t, err)
		record, err := media.DecodeRecord(text)
		require.NoError(t, err, build)
		again, err := record.Encode()
		require.NoError(t, err)
		assert.Equal(t, string(text), string(again), build)
	}
}

// What a newer build writes is refused as that, and never called altered.
func TestWhatANewerBuildWritesIsRefused(t *testing.T) {
	build := builds(t)[0]
	shop := shopOf(t, build)
	newer := filepath.Join(t.TempDir(), "newer.json")
	require.Equal(t, exitDone, cardwright(t, "key", "new").code)
	for name, args := range map[string][]string{
		`{"format":4,"vessel":"kittiwake","came_later":1}`:         {"record", "kittiwake", "--sheet", newer},
		`{"format":1,"heads":{"format":2,"ledger":"a","heads":1}}`: {"audit", "check", "--heads", newer},
	} {
		require.NoError(t, os.WriteFile(newer, []byte(name), 0o600))
		got := cardwright(t, append(args, "--shop", shop)...)
		assert.NotEqual(t, exitDone, got.code)
		assert.Contains(t, strings.Join(strings.Fields(got.errs), " "), "a newer cardwright", name)
	}
}
