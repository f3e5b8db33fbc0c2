package durable_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/durable"
)

// What the kernel was asked for, as strace(1) saw it: the bytes are synced
// before the file has its name, and the folder after it. Without either a power
// cut can leave an empty file or none (fsync(2), rename(2)).
func TestOrderOfSyncing(t *testing.T) {
	if path := os.Getenv("DURABLE_TEST_PATH"); path != "" { // the run that is traced
		require.NoError(t, durable.MakeFolders(filepath.Dir(path), 0o755))
		require.NoError(t, durable.WriteNew(path, 0o600, strings.NewReader("one")))
		require.NoError(t, durable.Write(path, 0o600, strings.NewReader("two")))
		return
	}
	dir := t.TempDir()
	path, trace := filepath.Join(dir, "new", "a.txt"), filepath.Join(dir, "trace")
	cmd := exec.Command("strace", "-f", "-y", "-e", "trace=mkdirat,write,fsync,rename,renameat,renameat2,link,linkat", "-o", trace,
		os.Args[0], "-test.run=^TestOrderOfSyncing$")
	cmd.Env = append(os.Environ(), "DURABLE_TEST_PATH="+path)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	text, err := os.ReadFile(trace)
	require.NoError(t, err)

	unfinished := regexp.QuoteMeta(filepath.Join(dir, "new", ".a.txt.unfinished-")) + `\w{8}`
	folder, above := regexp.QuoteMeta(filepath.Join(dir, "new")), regexp.QuoteMeta(dir)
	file := regexp.QuoteMeta(path)
	// strace cuts a call in two where another thread comes between ("<unfinished ...>")
	assert.Regexp(t, `(?s)mkdirat\(.*"`+folder+`".*fsync\(\d+<`+above+`>.*`+
		`write\(\d+<`+unfinished+`>, "one".*fsync\(\d+<`+unfinished+`>.*linkat\([^\n]*"`+file+`".*fsync\(\d+<`+folder+`>.*`+
		`write\(\d+<`+unfinished+`>, "two".*fsync\(\d+<`+unfinished+`>.*rename[^\n]*"`+file+`".*fsync\(\d+<`+folder+`>`, string(text))
}
