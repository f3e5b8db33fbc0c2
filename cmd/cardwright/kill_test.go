//go:build linux

package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// killed is a shop and a built command that is killed while it writes.
type killed struct {
	t       *testing.T
	command string
	shop    string
	random  *rand.Rand
}

const cardSize = "128MB"

// newKilled builds the command and makes the scripts' shop: with small cards,
// whose bytes are soon compared, and a package that takes a while to write.
func newKilled(t *testing.T) *killed {
	k := &killed{t: t, command: filepath.Join(t.TempDir(), "cardwright"), shop: t.TempDir(), random: rand.New(rand.NewChaCha8([32]byte{7}))}
	out, err := exec.Command("go", "build", "-o", k.command, ".").CombinedOutput()
	require.NoError(t, err, string(out))
	require.NoError(t, os.CopyFS(k.shop, os.DirFS("testdata/shop")))
	big := shoptest.Make("plot9-4.0-7.upd", 12<<20+1, 1)
	require.NoError(t, os.WriteFile(filepath.Join(k.shop, "packages/fennick-plot-9/4.0-7/plot9-4.0-7.upd"), big.Content, 0o600))
	models, err := filepath.Glob(filepath.Join(k.shop, "catalogue/*.yaml"))
	require.NoError(t, err)
	for _, path := range models {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		text = bytes.ReplaceAll(text, []byte("least: 4GB"), []byte("least: 100MB"))
		text = bytes.Replace(text, []byte("size: 30001"), fmt.Appendf(nil, "size: %d", len(big.Content)), 1)
		text = bytes.Replace(text, []byte("c8400285e468a57be2c40850231e02edf00938a97afde084a8450db7f36727b5"), []byte(shoptest.Sum(big.Content)), 1)
		require.NoError(t, os.WriteFile(path, text, 0o600))
	}
	morvenRose := "vessel: morven-rose\nname: Morven Rose\ndevices:\n  - {id: ais, model: solveld-beacon-1, version: 1.5}\n"
	require.NoError(t, os.WriteFile(filepath.Join(k.shop, "vessels/morven-rose.yaml"), []byte(morvenRose), 0o600))
	return k
}

// run runs the command to its end and gives its exit code and answer.
func (k *killed) run(args ...string) (int, string) {
	cmd := exec.Command(k.command, append(args, "--shop", k.shop)...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		k.t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), out.String() + errs.String()
}

func (k *killed) must(args ...string) {
	code, out := k.run(args...)
	require.Zero(k.t, code, "cardwright %q\n%s", args, out)
}

// work is how many bytes a process has read and written so far (proc(5)); it
// tells how far it has come, however slow the machine.
func work(pid int) (n int64) {
	text, err := os.ReadFile(fmt.Sprint("/proc/", pid, "/io"))
	if err != nil {
		return 0
	}
	var read, written int64
	if _, err := fmt.Sscanf(string(text), "rchar: %d\nwchar: %d", &read, &written); err != nil {
		return 0
	}
	return read + written
}

// during starts the command and does something to it once it has done that much
// work; it returns how much it had done by then, and the command, ended.
func (k *killed) during(at int64, do func(*os.Process), args ...string) (done int64, cmd *exec.Cmd) {
	cmd = exec.Command(k.command, append(args, "--shop", k.shop)...)
	cmd.Stdout = &bytes.Buffer{}
	cmd.Stderr = cmd.Stdout
	require.NoError(k.t, cmd.Start())
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait() // what it left shows how it ended
		close(ended)
	}()
	for {
		select {
		case <-ended: // before its time came
			return done, cmd
		case <-time.After(time.Millisecond):
		}
		if done = max(done, work(cmd.Process.Pid)); done >= at {
			do(cmd.Process)
			<-ended
			return done, cmd
		}
	}
}

// kill starts the command and kills it, by SIGKILL, once it has done that much
// work; it returns how much it had done.
func (k *killed) kill(at int64, args ...string) (done int64) {
	done, _ = k.during(at, func(p *os.Process) { _ = p.Kill() }, args...) // it may have ended meanwhile
	return done
}

// moments are the amounts of work at which the command is killed: at even
// steps from its start to just past its end, and in a drill of N at N/50 more.
func (k *killed) moments(args ...string) []int64 {
	whole := k.kill(1<<62, args...)
	require.Positive(k.t, whole)
	var moments []int64
	for _, percent := range []int64{2, 15, 30, 45, 55, 65, 75, 85, 95, 105} { // the last finds it done
		moments = append(moments, whole*percent/100)
	}
	drill, _ := strconv.Atoi(os.Getenv("DRILL")) // none asked for: 0
	for range drill / 50 {
		moments = append(moments, k.random.Int64N(whole+whole/10))
	}
	return moments
}

func digestOf(t *testing.T, path string) string {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	sum := sha256.New()
	_, err = io.Copy(sum, f)
	require.NoError(t, err)
	return string(sum.Sum(nil))
}

// state is what was left of a target: the earlier card, byte for byte, none,
// or a complete and good one.
func (k *killed) state(target, earlier string) string {
	if digestOf(k.t, target) == earlier {
		return "earlier"
	}
	code, out := k.run("verify", target, "--for", "kittiwake", "--json")
	if code == exitDone {
		return "good"
	}
	require.Equal(k.t, exitNo, code, out)
	var report verify.Report
	require.NoError(k.t, json.Unmarshal([]byte(out), &report), out)
	require.NotEmpty(k.t, report.Findings)
	require.Equal(k.t, verify.NoFileSystem, report.Findings[0].Kind, out)
	dir, err := exec.Command("mdir", "-i", target+"@@4M", "::").CombinedOutput()
	require.Error(k.t, err, "mtools sees files on it:\n%s", dir)
	return "blank"
}

// Killed at any moment, the earlier image is untouched or the new one is
// complete and good. What was left beside it is gone after the next run.
func TestKilledWritingAnImage(t *testing.T) {
	k := newKilled(t)
	dir := t.TempDir()
	image := filepath.Join(dir, "card.img")
	prepare := []string{"prepare", "kittiwake", "--to", image, "--size", cardSize, "--yes", "--lose-files"}
	again := func() string {
		k.must("prepare", "morven-rose", "--to", image, "--size", cardSize, "--yes", "--lose-files")
		return digestOf(t, image)
	}
	earlier := again()
	states := map[string]int{}
	for _, at := range k.moments(prepare...) {
		if digestOf(t, image) != earlier {
			require.Equal(t, earlier, again())
		}
		k.kill(at, prepare...)
		state := k.state(image, earlier)
		require.NotEqual(t, "blank", state)
		states[state]++
	}
	t.Logf("%v", states)
	assert.Positive(t, states["earlier"])
	k.must(prepare...)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 1)
}

// smallDrive is a loop drive that the killed shop's devices take.
func smallDrive(t *testing.T) (drive string) {
	backing := filepath.Join(t.TempDir(), "backing")
	require.NoError(t, os.WriteFile(backing, nil, 0o600))
	require.NoError(t, os.Truncate(backing, 120<<20))
	out, err := exec.Command("losetup", "-f", "--show", backing).CombinedOutput()
	require.NoError(t, err, "losetup: %s (the tests need to be root for loop drives)", out)
	drive = strings.TrimSpace(string(out))
	t.Cleanup(func() {
		out, err := exec.Command("losetup", "-d", drive).CombinedOutput()
		assert.NoError(t, err, string(out))
	})
	return drive
}

// pull has a loop drive begin so far into its file that nothing is left of it: as
// a drive is whose card was pulled out.
func pull(t *testing.T, drive string, out bool) {
	f, err := os.Open(drive)
	require.NoError(t, err)
	defer f.Close()
	info, err := unix.IoctlLoopGetStatus64(int(f.Fd()))
	require.NoError(t, err)
	// farther than any file can reach, so that no write makes the file longer
	info.Offset = map[bool]uint64{true: 1 << 50}[out]
	require.Eventually(t, func() bool { // the kernel refuses while its cache isn't written out
		return unix.IoctlLoopSetStatus64(int(f.Fd()), info) == nil
	}, time.Minute, time.Millisecond)
}

// A card pulled out while it is written or read back is reported as such.
func TestPulledOutWhilePreparing(t *testing.T) {
	k := newKilled(t)
	drive := smallDrive(t)
	prepare := []string{"prepare", "kittiwake", "--to", drive, "--yes"}
	whole := k.kill(1<<62, prepare...)
	for _, share := range []int64{40, 50, 60, 70, 80, 90} {
		_, cmd := k.during(whole*share/100, func(*os.Process) { pull(t, drive, true) }, prepare...)
		pull(t, drive, false)
		said := fmt.Sprint(cmd.Stdout)
		if cmd.ProcessState.ExitCode() == exitDone { // it was just done
			continue
		}
		assert.Equal(t, exitCouldNot, cmd.ProcessState.ExitCode(), said)
		assert.Contains(t, said, "it was pulled out", "at %d %%", share)
		assert.Contains(t, said, "It is unfinished")
		assert.NotContains(t, said, "larger card")
	}
}

// Killed at any moment, the card in a drive is the earlier one, holds no file
// system, or is complete and good.
func TestKilledWritingADrive(t *testing.T) {
	k := newKilled(t)
	drive := smallDrive(t)
	// Another boat's card is not overwritten by --yes alone.
	code := func() string {
		_, answer := k.run("readers", "--json")
		var list struct{ Readers []struct{ Path, Code string } }
		require.NoError(t, json.Unmarshal([]byte(answer), &list), answer)
		for _, r := range list.Readers {
			if r.Path == drive {
				return r.Code
			}
		}
		return ""
	}
	again := func() string {
		k.must("prepare", "morven-rose", "--to", drive, "--erase", code(), "--lose-files")
		return digestOf(t, drive)
	}
	prepare := []string{"prepare", "kittiwake", "--to", drive, "--erase", ""}
	states := map[string]int{}
	prepare[5] = code()
	for _, at := range k.moments(prepare...) {
		earlier := again()
		prepare[5] = code()
		k.kill(at, prepare...)
		states[k.state(drive, earlier)]++
	}
	t.Logf("%v", states)
	assert.Positive(t, states["blank"])
	prepare[5] = code()
	k.must(prepare...)
	k.must("verify", drive, "--for", "kittiwake")
}
