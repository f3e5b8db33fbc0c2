package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/visible"
)

func TestTextsKeepTheShopThatWasNamed(t *testing.T) {
	s := &session{terminal: terminal{shopDir: "our shop"}}
	newRootCommand(s)
	s.shopDir = "our shop" // the flag's default was set
	const flag = " --shop 'our shop'"
	for text, want := range map[string]string{
		"see cardwright plan kittiwake":                         "see cardwright plan" + flag + " kittiwake",
		"see cardwright plan":                                   "see cardwright plan" + flag,
		"see cardwright plan.":                                  "see cardwright plan" + flag + ".",
		"cardwright package\n  add FILE, or cardwright sheet x": "cardwright package\n  add" + flag + " FILE, or cardwright sheet" + flag + " x",
		"cardwright package fetch-list x":                       "cardwright package fetch-list" + flag + " x",
		"cardwright verify k --shop elsewhere; cardwright plan": "cardwright verify k --shop elsewhere; cardwright plan" + flag,
		"cardwright readers lists it, cardwright key new":       "cardwright readers lists it, cardwright key new",
		"files that cardwright did not write":                   "files that cardwright did not write",
		"a newer cardwright made it; cardwright plans nothing":  "a newer cardwright made it; cardwright plans nothing",
	} {
		assert.Equal(t, want, s.keepShop(text))
	}
	answer, err := json.Marshal(map[string]string{"a": "see cardwright plan\nb", "b": "cardwright plan b --shop 'our shop'"})
	require.NoError(t, err)
	s.shopDir = `our "shop"`
	var read map[string]string
	require.NoError(t, json.Unmarshal(s.keepShopInJSON(answer), &read))
	assert.Equal(t, "see cardwright plan --shop 'our \"shop\"'\nb", read["a"])
	assert.Equal(t, "cardwright plan b --shop 'our shop'", read["b"])
}

// A command that is named by a text for copying has the shop in it, whichever
// command line brought the text up. Paper has none: it comes back to the shop,
// wherever its folder is.
func TestHintsKeepTheShop(t *testing.T) {
	shop := shopOf(t, builds(t)[0])
	require.NoError(t, os.Remove(filepath.Join(shop, "packages", "solveld-beacon-1", "1.6", "beacon1.upd")))
	download := filepath.Join(t.TempDir(), "beacon9.upd")
	require.NoError(t, os.WriteFile(download, []byte(strings.Repeat("bytes ", 999)), 0o600))
	image := unpacked(t, filepath.Join(builds(t)[0], "unsigned.img.gz"), filepath.Join(t.TempDir(), "k.img"))
	seen := 0
	for _, args := range [][]string{
		{"shop", "check"},
		{"package", "list"},
		{"package", "fetch-list", "kittiwake"},
		{"package", "check"},
		{"package", "add", download, "--model", "solveld-beacon-9", "--version", "2.0", "--released", "2026-03-02"},
		{"package", "add", download, "--model", "solveld-beacon-1", "--version", "1.6", "--released", "2026-03-02"},
		{"verify", image},
		{"verify", image, "--for", "skerry-light"},
		{"record", "kittiwake"},
		{"key", "show"},
		{"vessel", "add", "curlew", "--device", "model=fennick-plot-99"},
		{"plan", "--all"},
		{"prepare", "kittiwake", "--to", filepath.Join(t.TempDir(), "k.img"), "--size", "64MB"},
	} {
		for _, more := range [][]string{nil, {"--json"}} {
			got := cardwright(t, append(append([]string{"--shop", shop}, args...), more...)...)
			text := strings.Join(strings.Fields(got.out+got.errs), " ")
			for _, hint := range regexp.MustCompile(`\bcardwright (plan|sheet|verify|record|survey|shop check|package (add|check|list|fetch-list)|model add|vessel add|audit [a-z]+|ledger [a-z]+)\b[^;"]*`).FindAllString(text, -1) {
				seen++
				assert.Contains(t, hint, "--shop", "%v: %s", args, text)
			}
		}
	}
	assert.Greater(t, seen, 10)
}

// A path with a tab, a line's end, an escape or bytes that aren't UTF-8 in it is
// never shown raw, never part of a command to copy, and its card is noted.
func TestPathsThatCantBeShown(t *testing.T) {
	build := builds(t)[0]
	shop := shopOf(t, build)
	trustOwnKey(t, shop)
	for _, name := range []string{"a\tb.img", "a\nb.img", "a\x1b[31mb.img", "a\xffb.img", "a\u202eb.img", "a\rb.img"} {
		dir := t.TempDir()
		image := unpacked(t, filepath.Join(build, "signed.img.gz"), filepath.Join(dir, name))
		order, report := filepath.Join(dir, "o"+name+".txt"), filepath.Join(dir, "r"+name)
		for _, c := range []struct {
			code int
			args []string
		}{
			{exitDone, []string{"verify", image, "--for", "kittiwake", "--order", order, "--report", report}},
			{exitNo, []string{"verify", image, "--for", "skerry-light"}},
			{exitCouldNot, []string{"verify", filepath.Join(dir, "none"+name)}},
			{exitDone, []string{"prepare", "kittiwake", "--to", filepath.Join(dir, "new"+name), "--size", "64MB"}},
			{exitUsage, []string{"prepare", "kittiwake", "--to", filepath.Join(dir, "no size"+name)}},
			{exitDone, []string{"sheet", "kittiwake", "--output", filepath.Join(dir, "s"+name+".txt")}},
			{exitDone, []string{"audit", "card", image}},
			{exitUsage, []string{"plan", name}},
			{exitCouldNot, []string{"package", "add", filepath.Join(dir, "none"+name), "--model", "solveld-beacon-1", "--version", "1.9", "--released", "2026-03-02"}},
			{exitCouldNot, []string{"audit", "check", "--heads", image}},
		} {
			got := cardwright(t, append(c.args, "--shop", shop)...)
			said := got.out + got.errs
			assert.Equal(t, c.code, got.code, "%q: %s", c.args, said)
			assert.NotContains(t, said, name)
			for _, line := range strings.Split(said, "\n") {
				assert.NotContains(t, line, "\t")
				assert.False(t, strings.ContainsFunc(line, func(r rune) bool { return !unicode.IsPrint(r) }), "%q: %q", c.args, line)
				if _, command, ok := strings.Cut(line, "cardwright "); ok && strings.HasPrefix(strings.TrimSpace(line), "cardwright ") {
					assert.NotContains(t, command, visible.Visible(name), "%q", c.args)
				}
			}
		}
		got := cardwright(t, "audit", "card", image, "--shop", shop)
		assert.Contains(t, got.out, "1 card of", "%q: %s", name, got.out)
	}
}
