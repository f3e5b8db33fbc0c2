//go:build linux

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"cardwright/media/mediatest"
	"cardwright/verify/seatrial/simulate"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"cardwright": main})
}

// TestScripts runs the real command by the scripts in testdata/script, each in
// a folder of its own that begins as a copy of testdata/shop.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", env.Getenv("PATH")+":/usr/sbin:/sbin")
			if other := os.Getenv("CARDWRIGHT_COMMAND_IN"); other != "" { // a folder with another build of the command
				env.Setenv("PATH", other+":"+env.Getenv("PATH"))
			}
			env.Setenv("MTOOLS_SKIP_CHECK", "1")
			env.Setenv("XDG_CONFIG_HOME", filepath.Join(env.WorkDir, "settings"))
			env.Setenv("XDG_CACHE_HOME", filepath.Join(env.WorkDir, "cache"))
			return os.CopyFS(filepath.Join(env.WorkDir, "shop"), os.DirFS("testdata/shop"))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits":        exits,
			"partition":    partition,
			"flip":         flip,
			"attach":       attach,
			"same":         same,
			"attachlocked": attachLocked,
			"attachparted": attachParted,
			"codeof":       codeOf,
			"newcard":      newCard,
			"attachon":     attachOn,
			"detach":       detach,
			"hold":         hold,
			"rot":          rot,
			"postgres":     startServer,
			"halt":         haltServer,
			"addressof":    addressOf,
			"sqlrun":       sqlRun,
			"sail":         sail,
		},
	})
}

// exits CODE COMMAND ARGS… runs a command that must end with this exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ARGS…")
	}
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if want, err := strconv.Atoi(args[0]); err != nil || got != want {
		ts.Fatalf("exit code %d, expected %s", got, args[0])
	}
}

// partition NAME IMAGE makes a read-only loop drive of the image's partition,
// for tools without a notion of partitions, and puts its path into NAME.
func partition(ts *testscript.TestScript, neg bool, args []string) {
	loopDrive(ts, args[0], "--read-only", "--offset", "4194304", ts.MkAbs(args[1]))
}

// flip IMAGE PACKAGE N changes one bit of byte N of the package's only copy on
// the image.
func flip(ts *testscript.TestScript, neg bool, args []string) {
	content := []byte(ts.ReadFile(args[1]))
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	f, err := os.OpenFile(ts.MkAbs(args[0]), os.O_RDWR, 0)
	ts.Check(err)
	defer f.Close()
	head := make([]byte, 64<<20) // the small shop's files are all within it
	_, err = f.ReadAt(head, 0)
	ts.Check(err)
	at := bytes.Index(head, content)
	if at < 0 || bytes.Contains(head[at+1:], content) {
		ts.Fatalf("%s does not stand exactly once on %s", args[1], args[0])
	}
	_, err = f.WriteAt([]byte{content[n] ^ 1}, int64(at+n))
	ts.Check(err)
}

// rot FILE N changes one bit of byte N of a file.
func rot(ts *testscript.TestScript, neg bool, args []string) {
	content := []byte(ts.ReadFile(args[0]))
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	content[n] ^= 1
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), content, 0o644))
}

// attach NAME SIZE makes a loop drive over a sparse file and puts its path
// into the variable NAME.
func attach(ts *testscript.TestScript, neg bool, args []string) {
	backing := ts.MkAbs(args[0] + ".backing")
	ts.Check(ts.Exec("truncate", "-s", args[1], backing))
	loopDrive(ts, args[0], backing)
}

// attachlocked NAME SIZE makes a loop drive that is locked against writing.
func attachLocked(ts *testscript.TestScript, neg bool, args []string) {
	backing := ts.MkAbs(args[0] + ".backing")
	ts.Check(ts.Exec("truncate", "-s", args[1], backing))
	loopDrive(ts, args[0], "--read-only", backing)
}

// attachparted NAME SIZE makes a loop drive that can have partitions.
func attachParted(ts *testscript.TestScript, neg bool, args []string) {
	backing := ts.MkAbs(args[0] + ".backing")
	ts.Check(ts.Exec("truncate", "-s", args[1], backing))
	loopDrive(ts, args[0], "--partscan", backing)
}

// attachon NAME FILE SIZE is attach with the backing file named.
func attachOn(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(ts.Exec("truncate", "-s", args[2], ts.MkAbs(args[1])))
	loopDrive(ts, args[0], ts.MkAbs(args[1]))
}

// detach DRIVE gives a loop drive back before the script ends.
func detach(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(ts.Exec("losetup", "-d", args[0]))
}

// codeof DRIVE NAME puts the code that readers shows for a drive into NAME.
func codeOf(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(ts.Exec("cardwright", "readers", "--json"))
	var answer struct {
		Readers []struct{ Path, Code string }
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &answer))
	for _, r := range answer.Readers {
		if r.Path == args[0] {
			ts.Setenv(args[1], r.Code)
			return
		}
	}
	ts.Fatalf("%s is not listed", args[0])
}

// newcard IMAGE BITS makes a card as other tools do: sfdisk's table, mkfs.fat's
// file system, FAT16 or FAT32.
func newCard(ts *testscript.TestScript, neg bool, args []string) {
	image := ts.MkAbs(args[0])
	size, kib := "4000000000", "3902154" // to the end of the card
	if args[1] == "16" {
		kib = "1048576"
	}
	ts.Check(ts.Exec("rm", "-f", image))
	ts.Check(ts.Exec("truncate", "-s", size, image))
	ts.Check(ts.Exec("sh", "-c", "echo start=8192,type=c | sfdisk -q "+image))
	ts.Check(ts.Exec("mkfs.fat", "-F", args[1], "--offset", "8192", image, kib))
}

// hold DRIVE keeps a drive exclusively open until the script ends, as a
// program that uses it would.
func hold(ts *testscript.TestScript, neg bool, args []string) {
	f, err := os.OpenFile(args[0], os.O_RDONLY|syscall.O_EXCL, 0)
	ts.Check(err)
	ts.Defer(func() { _ = f.Close() })
}

func loopDrive(ts *testscript.TestScript, name string, args ...string) {
	out, err := exec.Command("losetup", append([]string{"--find", "--show"}, args...)...).Output()
	if err != nil {
		ts.Fatalf("attaching a loop drive (this test needs root and loop drives): %v", err)
	}
	loop := strings.TrimSpace(string(out))
	ts.Setenv(name, loop)
	over := mediatest.LoopFile(loop)
	ts.Defer(func() {
		if mediatest.LoopFile(loop) == over { // else the script gave it back, and somebody else has it now
			_ = exec.Command("losetup", "-d", loop).Run()
		}
	})
}

// sail FILE COMPASS [TIMES] writes the log of a boat that ran the eight headings,
// or as many of them as COMPASS says: good, bad (B is 8), six, again (good, a
// year later) or pulled (the year after, B moved by 5).
func sail(ts *testscript.TestScript, neg bool, args []string) {
	boat := simulate.Boat{
		Deviation: [5]float64{.5, 1, -.7, .4, .2}, Variation: -1.4, Speed: 6, Current: [2]float64{-.17, -.47},
		Latitude: 50.24, Longitude: -4.11, Start: time.Date(2025, 6, 13, 9, 0, 0, 0, time.UTC), Seed: 40,
		HeadNoise: 0.7, HeadMemory: 0.8, SpeedNoise: 0.1, Weave: 1, Period: 18, Rudder: -1,
	}
	headings := simulate.Points(2)
	switch args[1] {
	case "good":
	case "bad":
		boat.Deviation = [5]float64{0, 8}
	case "six":
		headings = simulate.Points(1)[:6]
	case "again":
		boat.Start, boat.Seed = boat.Start.AddDate(0, 2, 0), 41
	case "pulled":
		boat.Start, boat.Seed = boat.Start.AddDate(0, 4, 0), 42
		boat.Deviation[1] += 5
	default:
		ts.Fatalf("sail: no boat %q", args[1])
	}
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(boat.Write(f, simulate.Legs(150, headings...)))
	ts.Check(f.Close())
}
