package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/mediatest/shoptest"
)

// mostMemory is what prepare and verify may take, whatever the payload.
const mostMemory = 64_000_000

// peak runs the command and gives the most memory, in bytes, that was ever
// resident of it (VmHWM of proc(5); getrusage would count the memory of the
// process that starts it).
func peak(t *testing.T, command string, args ...string) (most int64) {
	cmd := exec.Command(command, args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	require.NoError(t, cmd.Start())
	ended := make(chan error)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case err := <-ended:
			require.NoError(t, err, out.String())
			require.Positive(t, most)
			return most
		case <-time.After(time.Millisecond):
			most = max(most, resident(cmd.Process.Pid))
		}
	}
}

func resident(pid int) int64 {
	text, err := os.ReadFile(fmt.Sprint("/proc/", pid, "/status"))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmHWM:")
	var kib int64
	if _, err := fmt.Sscan(rest, &kib); err != nil {
		return 0
	}
	return kib << 10
}

// Memory stays the same for a large payload and for many files: image, drive
// and folder, written and verified.
func TestMemory(t *testing.T) {
	dir := t.TempDir()
	command, shop := filepath.Join(dir, "cardwright"), filepath.Join(dir, "shop")
	out, err := exec.Command("go", "build", "-o", command, ".").CombinedOutput()
	require.NoError(t, err, string(out))
	const large, many = 5 * mostMemory, 1000
	memoryShop(t, shop, large, many)
	image, folder := filepath.Join(dir, "card.img"), filepath.Join(dir, "folder")
	require.NoError(t, os.Mkdir(folder, 0o700))
	for name, args := range map[string][]string{
		"image":  {"--to", image, "--size", "4GB"},
		"folder": {"--to", folder},
	} {
		wrote := peak(t, command, append([]string{"prepare", "kittiwake", "--shop", shop, "--yes"}, args...)...)
		read := peak(t, command, "verify", args[1], "--shop", shop, "--for", "kittiwake")
		t.Logf("%s: prepare %.1f MB, verify %.1f MB", name, float64(wrote)/1e6, float64(read)/1e6)
		assert.Less(t, wrote, int64(mostMemory), name)
		assert.Less(t, read, int64(mostMemory), name)
	}
}

// memoryShop is a shop whose vessel needs one large package and many small
// ones, for three devices, all of zeros.
func memoryShop(t *testing.T, shop string, large int64, many int) {
	const models = 3
	keep := func(path, text string) string {
		path = filepath.Join(shop, path)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	vessel := "vessel: kittiwake\nname: Kittiwake\ndevices:\n"
	for m := range models {
		id := fmt.Sprint("fennick-plot-", m)
		vessel += fmt.Sprintf("  - {id: d%d, model: %s, version: 3.1}\n", m, id)
		model := strings.Builder{}
		fmt.Fprintf(&model, "model: %s\nmaker: Fennick\nname: Plot\nkind: chart display\n", id)
		model.WriteString("card: {least: 4GB, most: 32GB, file_systems: [fat32], slot: SD, folder: any}\n")
		model.WriteString("releases:\n  - version: 4.0-12\n    released: 2026-03-02\n    files:\n")
		add := func(name string, size int64) {
			path := keep(filepath.Join("packages", id, "4.0-12", name), "")
			require.NoError(t, os.Truncate(path, size))
			fmt.Fprintf(&model, "      - {name: %s, size: %d, sha256: %s}\n", name, size, zerosSum(t, path, size))
		}
		add("plot.upd", large/models)
		for i := range many / models {
			add(fmt.Sprintf("chart-%04d.bin", i), 16<<10)
		}
		keep("catalogue/"+id+".yaml", model.String())
	}
	keep("vessels/kittiwake.yaml", vessel)
	keep("shop.yaml", "shop: Hollin Quay Marine Electrics\npackages: packages\nledger: ledger.db\n")
}

// zerosSum is the SHA-256 of a file of zeros, by coreutils where it is large.
func zerosSum(t *testing.T, path string, size int64) string {
	if size <= 1<<20 {
		return shoptest.Sum(make([]byte, size))
	}
	out, err := exec.Command("sha256sum", path).Output()
	require.NoError(t, err)
	return string(out[:64])
}
