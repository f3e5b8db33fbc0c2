// Command hardware tries the program on a real Linux kernel with emulated card
// hardware: an SD slot and a reader on USB in qemu.
//
//	go run ./testdata/hardware [-short] [-kernel FOLDER]
//
// Cards are prepared and verified in both, mounted by the kernel's own vfat and
// checked by coreutils; pulled out in the middle, locked, in a reader that
// fails; and the power is cut. Afterwards a card is untouched, blank to every
// reader, or good. Nothing here is a real card: what these keep in their own
// buffers can't be emulated.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// How often a card is pulled out, and the power cut.
type times struct{ pulls, cuts int }

func main() {
	short := flag.Bool("short", false, "one moment of each kind, for a quick look")
	kernel := flag.String("kernel", filepath.Join(os.TempDir(), "cardwright-kernel"), "folder for the kernel, which is kept")
	flag.Parse()
	often := times{pulls: 20, cuts: 50}
	if *short {
		often = times{pulls: 1, cuts: 1}
	}
	if err := try(*kernel, often); err != nil {
		fmt.Fprintln(os.Stderr, "hardware:", err)
		os.Exit(1)
	}
}

// lab is a folder with all that the emulated computers need.
type lab struct {
	dir, kernel, program string
	base                 string // image of a card as a customer brings it
	spent                time.Time
}

func try(kernel string, often times) error {
	if err := run("sh", "testdata/hardware/tools", kernel); err != nil {
		return fmt.Errorf("the tools that emulate card hardware can't be had (%w)", err)
	}
	dir, err := os.MkdirTemp("", "cardwright-hardware-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	l := &lab{dir: dir, kernel: kernel, program: filepath.Join(dir, "cardwright"), base: filepath.Join(dir, "base.img"), spent: time.Now()}
	if err := os.Setenv("PATH", os.Getenv("PATH")+":/usr/sbin:/sbin"); err != nil {
		return err
	}
	build := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w -buildid=", "-o", l.program, "./cmd/cardwright")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		return err
	}
	if err := l.pack(); err != nil {
		return fmt.Errorf("packing what the emulated computer runs: %w", err)
	}
	if err := l.makeBase(); err != nil {
		return err
	}
	l.tell("built and packed")
	return l.scenes(often)
}

// tell says what is done, and how long it took.
func (l *lab) tell(format string, args ...any) {
	fmt.Printf("%-60s %5.0f s\n", fmt.Sprintf(format, args...), time.Since(l.spent).Seconds())
	l.spent = time.Now()
}

func run(name string, args ...string) error {
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	return cmd.Run()
}
