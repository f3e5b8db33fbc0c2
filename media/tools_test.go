package media_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// tool finds an outside tool, or fails: a check that can't be made is not a
// check that passed.
func tool(t testing.TB, name string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/sbin", "/sbin") {
		path := filepath.Join(dir, name)
		if info, err := os.Stat(path); err == nil && info.Mode()&0o111 != 0 {
			return path
		}
	}
	t.Fatalf("%s is missing: make test installs what the tests need", name)
	return ""
}

// try starts an outside tool and gives what it printed.
func try(t testing.TB, name string, args ...string) (string, error) {
	t.Helper()
	cmd := exec.Command(tool(t, name), args...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "MTOOLSRC=/dev/null", "TZ=UTC")
	out, err := cmd.CombinedOutput()
	return string(out), err
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := try(t, name, args...)
	require.NoErrorf(t, err, "%s %q\n%s", name, args, out)
	return out
}
