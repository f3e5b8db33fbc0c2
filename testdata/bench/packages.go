package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"golang.org/x/sys/unix"
)

// checking is package check beside a plain loop that reads and hashes the same
// files, on as many processors. On a disk both ask the system to drop what it
// holds of a file before it is read.
func (b *bench) checking(p place) contest {
	c := contest{what: "package check", place: p, memory: true}
	dir := b.big.dir
	if p.disk {
		dir = filepath.Join(p.dir, "checked")
		c.start = func(context.Context) (took, error) { return took{}, os.CopyFS(dir, os.DirFS(b.big.dir)) }
		c.kept = []string{dir}
	}
	var files []string
	for _, path := range b.big.files {
		files = append(files, filepath.Join(dir, strings.TrimPrefix(path, b.big.dir)))
	}
	c.ours = func(ctx context.Context) (took, error) {
		return measured(ctx, b.cardwright, "package", "check", "--shop", dir, "--json")
	}
	c.rivals = []rival{{name: "plain loop, in parallel", most: 1 / 0.9, run: b.side(append([]string{"hash"}, files...)...)}}
	return c
}

// hashFiles hashes files, so many at a time as there are processors.
func hashFiles(paths []string) error {
	jobs := make(chan string)
	errs := make(chan error, len(paths))
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			buffer := make([]byte, pieceBytes)
			for path := range jobs {
				errs <- hashOne(path, buffer)
			}
		})
	}
	for _, path := range paths {
		jobs <- path
	}
	close(jobs)
	wait.Wait()
	close(errs)
	for err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func hashOne(path string, buffer []byte) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	defer in.Close()
	if err := unix.Fadvise(int(in.Fd()), 0, 0, unix.FADV_DONTNEED); err != nil {
		return err
	}
	sum := sha256.New()
	if _, err := io.CopyBuffer(sum, struct{ io.Reader }{in}, buffer); err != nil {
		return err
	}
	_, err = fmt.Printf("%x\n", sum.Sum(nil))
	return err
}
