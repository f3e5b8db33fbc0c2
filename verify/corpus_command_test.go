package verify_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify"
)

// exitCodes are those that the command's help promises for each verdict.
var exitCodes = map[verify.Verdict]int{verify.Good: 0, verify.Bad: 3, verify.Unchecked: 4}

// builtCommand is the real command, built once.
var builtCommand = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "cardwright")
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "cardwright")
	out, err := exec.Command("go", "build", "-o", name, "cardwright/cmd/cardwright").CombinedOutput()
	if err != nil {
		return "", errors.New(err.Error() + ": " + string(out))
	}
	return name, nil
})

// rapidChecks is how many values a property is tried on in the suite; a flag
// overrides it, as `make drill` does.
const rapidChecks = "25"

func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", rapidChecks); err != nil {
		panic(err)
	}
	code := m.Run()
	if name, err := builtCommand(); err == nil {
		os.RemoveAll(filepath.Dir(name))
	}
	os.Exit(code)
}

// sameByCommand has the real command judge the card: its exit code, its verdict
// and its findings are those of the report, and it leaves the card as it was.
func (s *stranger) sameByCommand(t *testing.T, vessel string, shop map[string]string, want verify.Report) {
	t.Helper()
	command, err := builtCommand()
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(corpusShop)))
	for name, text := range shop {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	args := []string{"--shop", dir, "verify", s.path, "--json"}
	if vessel != "" {
		args = append(args, "--for", vessel)
	}
	before, when := print(t, s.path)
	cmd := exec.Command(command, args...)
	cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+dir)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	err = cmd.Run()
	var exit *exec.ExitError
	require.True(t, err == nil || errors.As(err, &exit), "%v", err)
	assert.Equal(t, exitCodes[want.Verdict], cmd.ProcessState.ExitCode(), "%s\n%s", &out, &errs)
	var got verify.Report
	require.NoError(t, json.Unmarshal(out.Bytes(), &got), "%s\n%s", &out, &errs)
	want.AddImageOnly()
	require.Equal(t, verify.ImageOnly, want.Findings[len(want.Findings)-1].Kind)
	assert.Equal(t, want.Verdict, got.Verdict, told(got))
	assert.Equal(t, kindsOf(want), kindsOf(got), told(got))
	after, whenAfter := print(t, s.path)
	assert.Equal(t, before, after, "the card was written to")
	assert.Equal(t, when, whenAfter, "the card was written to")
	assert.NotContains(t, strings.ReplaceAll(out.String(), "prepare VESSEL", ""), "verify TARGET", "a command that can't be typed as it stands")
}

func kindsOf(r verify.Report) (all []string) {
	for _, f := range r.Findings {
		all = append(all, string(f.Severity)+" "+string(f.Kind)+" "+strconv.QuoteToASCII(f.Path))
	}
	return all
}

func decimal(n int64) string { return strconv.FormatInt(n, 10) }

func sumOfHalf() string {
	content, err := os.ReadFile(filepath.Join(corpusShop, "packages/solveld-beacon-1/1.6", beacon))
	if err != nil {
		panic(err)
	}
	sum := sha256.Sum256(content[:2048])
	return hex.EncodeToString(sum[:])
}
