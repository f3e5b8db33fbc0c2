package main

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// arrows says which of our packages each package may import. A package that
// isn't named here fails the test: whoever adds one decides where it belongs.
var arrows = map[string][]string{
	"manifest":          {"manifest/pattern", "manifest/samename", "manifest/version"},
	"manifest/version":  {},
	"manifest/samename": {},
	"manifest/pattern":  {},
	"manifest/durable":  {"manifest/pattern"},
	"manifest/order":    {"manifest", "manifest/samename", "manifest/version"},
	"manifest/schema":   {"manifest", "manifest/version"},
	"manifest/edit":     {"manifest", "manifest/durable", "manifest/version"},
	"manifest/survey":   {"manifest", "manifest/nmea2000", "manifest/version"},
	"manifest/nmea2000": {"manifest/pattern"},
	"manifest/tables":   {"manifest", "manifest/pattern"},

	"media":           {"manifest", "manifest/version", "manifest/durable", "manifest/samename", "manifest/order", "media/fat32", "media/place"},
	"media/fat32":     {"manifest/samename"},
	"media/place":     {"manifest/durable", "manifest/pattern"},
	"media/drive":     {"manifest/durable", "media/place", "media/windisk"},
	"media/readers":   {"media/windisk"},
	"media/windisk":   {},
	"media/capacity":  {"media"},
	"media/keys":      {"manifest/durable", "media/place"},
	"media/readiness": {"manifest", "manifest/version", "manifest/order", "media", "media/intake"},
	"media/intake":    {"manifest", "manifest/durable", "manifest/pattern", "manifest/samename", "manifest/version", "manifest/order", "media", "media/place"},

	"verify":         {"manifest", "manifest/pattern", "manifest/samename", "manifest/version", "manifest/order", "media", "media/drive", "media/keys", "verify/fatread", "verify/visible"},
	"verify/fatread": {"manifest/samename"},
	"verify/visible": {},
	"verify/sheet":   {"manifest", "manifest/pattern", "manifest/order", "manifest/version", "media", "verify", "verify/visible", "verify/seatrial", "verify/seatrial/plot"},

	"verify/seatrial":           {"verify/seatrial/sentences", "verify/seatrial/wmm"},
	"verify/seatrial/sentences": {"manifest/nmea2000"},
	"verify/seatrial/wmm":       {},
	"verify/seatrial/live":      {},
	"verify/seatrial/plot":      {"verify/seatrial"},
	"verify/seatrial/simulate":  {},

	// the ledger's rooms may import one another
	"verify/ledger": {"manifest", "manifest/tables", "manifest/durable", "manifest/order", "manifest/version", "media", "media/place", "verify", "verify/seatrial"},

	"cmd/cardwright":           nil, // anything
	"cmd/cardwright/interrupt": {},
}

// TestArrows: cmd → verify → {manifest, media}; media → the values of manifest
// and its order; manifest → nothing of ours; the writer and the reader of FAT32
// know nothing of each other: all they have in common is which names are one.
func TestArrows(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "cardwright/...").CombinedOutput()
	require.NoError(t, err, string(out))
	for line := range strings.Lines(string(out)) {
		fields := strings.Fields(line)
		from := strings.TrimPrefix(fields[0], "cardwright/")
		if strings.HasSuffix(from, "test") { // helpers of tests
			continue
		}
		ledger := strings.HasPrefix(from, "verify/ledger")
		if ledger {
			from = "verify/ledger"
		}
		allowed, known := arrows[from]
		require.Truef(t, known, "package %s is not on the list of arrows", from)
		for _, to := range fields[1:] {
			to, ours := strings.CutPrefix(to, "cardwright/")
			require.Falsef(t, ours && strings.HasSuffix(to, "test"), "%s imports %s, which is for tests", from, to)
			if ours && allowed != nil && !(ledger && strings.HasPrefix(to, "verify/ledger")) {
				require.Containsf(t, allowed, to, "%s must not import %s", from, to)
			}
		}
	}
}

// TestOnlyCommandsPrint: what a person sees, and how the process ends, is
// decided in cmd alone.
func TestOnlyCommandsPrint(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{if not (or (eq .Name "main") (eq (slice (print "    " .Name) (len .Name)) "test"))}}{{$d := .Dir}}{{range .GoFiles}}{{$d}}/{{.}}{{"\n"}}{{end}}{{end}}`, "cardwright/...").CombinedOutput()
	require.NoError(t, err, string(out))
	files := strings.Fields(string(out))
	require.NotEmpty(t, files)
	args := append([]string{"-nE", `\b(fmt\.Print|os\.(Stdout|Stderr|Exit)\b|log\.(Print|Fatal))`}, files...)
	found, err := exec.Command("grep", args...).Output()
	var exit *exec.ExitError
	require.ErrorAs(t, err, &exit, "found:\n%s", found)
	require.Equal(t, 1, exit.ExitCode(), "found:\n%s", found) // grep's code for no match
}
