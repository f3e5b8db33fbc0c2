// Command release builds the program for every system it is given out for,
// with the digests of the files and a list of what is inside them.
//
//	go run -modfile=.ci/release/go.mod ./testdata/release DIR [SYSTEM/PROCESSOR ...]
//
// Without a system it builds for all of them. The same commit and the same Go give
// the same bytes, in whatever folder they stand: testdata/release/again tries it.
package main

import (
	"crypto/sha256"
	"debug/buildinfo"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// targets are the systems and processors that the program is given out for.
var targets = []string{"linux/amd64", "linux/arm64", "darwin/amd64", "darwin/arm64", "windows/amd64", "windows/arm64"}

// mostBytes is how large one program may be.
const mostBytes = 40_000_000

func main() {
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "usage: release DIR [SYSTEM/PROCESSOR ...]")
		os.Exit(2)
	}
	chosen := os.Args[2:]
	if len(chosen) == 0 {
		chosen = targets
	}
	if err := release(os.Args[1], chosen); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func release(dir string, chosen []string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var names []string
	modules := map[string]module{}
	for _, target := range chosen {
		system, chip, _ := strings.Cut(target, "/")
		name := "cardwright-" + system + "-" + chip
		if system == "windows" {
			name += ".exe"
		}
		if err := build(filepath.Join(dir, name), system, chip); err != nil {
			return fmt.Errorf("%s: %w", target, err)
		}
		if err := addModules(modules, filepath.Join(dir, name)); err != nil {
			return fmt.Errorf("%s: %w", target, err)
		}
		names = append(names, name)
	}
	list := "cardwright.cdx.json"
	if err := writeList(filepath.Join(dir, list), modules); err != nil {
		return fmt.Errorf("%s: %w", list, err)
	}
	return writeSums(dir, append(names, list))
}

func build(path, system, chip string) error {
	cmd := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w -buildid=", "-o", path, "./cmd/cardwright")
	// what a shell may have set and changes the bytes
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-mod=readonly", "GOEXPERIMENT=", "GOAMD64=v1", "GOARM64=v8.0",
		"GOOS="+system, "GOARCH="+chip)
	cmd.Stderr = os.Stderr
	if err := cmd.Run(); err != nil {
		return err
	}
	info, err := os.Stat(path)
	if err == nil && info.Size() >= mostBytes {
		err = fmt.Errorf("%d bytes, expected fewer than %d", info.Size(), int64(mostBytes))
	}
	return err
}

// module is one that is in the programs.
type module struct{ path, version, sum string }

func addModules(modules map[string]module, program string) error {
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return err
	}
	for _, d := range info.Deps {
		if d.Replace != nil {
			return fmt.Errorf("%s is replaced by %s: the list would name the wrong one", d.Path, d.Replace.Path)
		}
		modules[d.Path] = module{d.Path, d.Version, d.Sum}
	}
	return nil
}

func writeSums(dir string, names []string) error {
	slices.Sort(names)
	var text strings.Builder
	for _, name := range names {
		content, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		fmt.Fprintf(&text, "%x  %s\n", sha256.Sum256(content), name)
	}
	return os.WriteFile(filepath.Join(dir, "SHA256SUMS"), []byte(text.String()), 0o644)
}

// folderOf is where Go keeps a module's sources.
func folderOf(m module) (string, error) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", m.path).Output()
	dir := strings.TrimSpace(string(out))
	if err == nil && dir == "" {
		err = errors.New("its sources aren't here: go mod download")
	}
	return dir, err
}
