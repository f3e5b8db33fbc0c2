package fatread

import (
	"bytes"
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
		p := filepath.Join(dir, name)
		if info, err := os.Stat(p); err == nil && !info.IsDir() {
			return p
		}
	}
	t.Fatalf("%s is missing: install dosfstools, mtools, fdisk, gdisk, exfatprogs and e2fsprogs", name)
	return ""
}

// run starts an outside tool and gives what it printed.
func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(tool(t, name), args...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "MTOOLS_SKIP_CHECK=1")
	out, err := cmd.CombinedOutput()
	require.NoErrorf(t, err, "%s %q\n%s", name, args, out)
	return string(out)
}

// feed is run with something on standard input.
func feed(t testing.TB, in, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(tool(t, name), args...)
	cmd.Stdin = bytes.NewBufferString(in)
	out, err := cmd.CombinedOutput()
	require.NoErrorf(t, err, "%s %q\n%s", name, args, out)
	return string(out)
}

// blank makes a sparse image.
func blank(t testing.TB, size int64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "card.img")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, f.Truncate(size))
	require.NoError(t, f.Close())
	return path
}

// mkfs makes an image with a file system straight on it.
func mkfs(t testing.TB, size int64, args ...string) string {
	t.Helper()
	path := blank(t, size)
	run(t, "mkfs.fat", append(append([]string{}, args...), path)...)
	return path
}

// readImage reads an image file.
func readImage(t testing.TB, path string) *Card {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	t.Cleanup(func() { f.Close() })
	info, err := f.Stat()
	require.NoError(t, err)
	return Read(f, info.Size(), Limits{})
}
