package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"syscall"
	"unsafe"

	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/mediatest"
	"cardwright/verify"
)

// runSide is one side of a comparison, in a process of its own.
func runSide(name string, args []string) error {
	switch name {
	case "copy":
		return plainCopy(args[0], args[1:])
	case "read":
		return rawRead(args[0], args[1])
	case "write":
		return writeCard(args[0], args[1], args[2])
	case "hash":
		return hashFiles(args)
	case "cards":
		return slowCards(args[0], args[1], args[2])
	}
	return fmt.Errorf("no side %q", name)
}

const (
	pieceBytes = 1 << 20
	pieces     = 8
)

// hashed gives buffers to fill and hashes what is handed to it, meanwhile.
type hashed struct {
	empty, full chan []byte
	done        chan [sha256.Size]byte
}

func newHashed() *hashed {
	h := &hashed{make(chan []byte, pieces), make(chan []byte, pieces), make(chan [sha256.Size]byte)}
	for range pieces {
		h.empty <- aligned(pieceBytes)
	}
	go func() {
		sum := sha256.New()
		for b := range h.full {
			sum.Write(b)
			h.empty <- b[:pieceBytes]
		}
		h.done <- [sha256.Size]byte(sum.Sum(nil))
	}()
	return h
}

// aligned suits reads past the cache.
func aligned(n int) []byte {
	const page = 4096
	b := make([]byte, n+page)
	skip := int(-uintptr(unsafe.Pointer(unsafe.SliceData(b))) % page)
	return b[skip : skip+n : skip+n]
}

func (h *hashed) end() {
	close(h.full)
	fmt.Printf("%x\n", <-h.done)
}

// plainCopy copies files into one, hashing while it writes, and syncs it.
func plainCopy(to string, from []string) error {
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	h := newHashed()
	for _, path := range from {
		if err := copyInto(out, path, h); err != nil {
			return err
		}
	}
	h.end()
	return errors.Join(out.Sync(), out.Close())
}

func copyInto(out io.Writer, path string, h *hashed) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	defer in.Close()
	for {
		b := <-h.empty
		n, err := io.ReadFull(in, b)
		if n > 0 {
			if _, err := out.Write(b[:n]); err != nil {
				return err
			}
		}
		h.full <- b[:n]
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// rawRead reads the first bytes of a file from the medium and hashes them
// meanwhile.
func rawRead(path, bytes string) error {
	left, err := strconv.ParseInt(bytes, 10, 64)
	if err != nil {
		return err
	}
	in, err := os.OpenFile(path, os.O_RDONLY|syscall.O_DIRECT, 0)
	if errors.Is(err, syscall.EINVAL) { // tmpfs, whose medium is the cache
		in, err = os.Open(path)
	}
	if err != nil {
		return err
	}
	defer in.Close()
	h := newHashed()
	for left > 0 {
		b := <-h.empty
		n, err := io.ReadFull(in, b[:min(left, pieceBytes)])
		if err != nil {
			return err
		}
		h.full <- b[:n]
		left -= int64(n)
	}
	h.end()
	return nil
}

// writeCard formats, writes and hashes a card image, but doesn't read it back.
func writeCard(shopDir, size, image string) error {
	job, bytes, err := shop{dir: shopDir, size: size}.job()
	if err != nil {
		return err
	}
	img, err := drive.CreateImage(image, bytes)
	if err != nil {
		return err
	}
	defer img.Close()
	unread := func(context.Context, io.ReaderAt, media.Record, string) error { return nil }
	outcome := job.Write(context.Background(), []media.Target{{Medium: img, Judge: unread}})[0]
	return errors.Join(outcome.Err, img.Commit())
}

// slowRate is how much the slowed-down cards move, in bytes a second.
const slowRate = 20_000_000

// moved is what the writing of slowed-down cards moved, in bytes.
type moved struct {
	Read    int64 // from files, by the kernel's count: the packages
	Written []int64
}

// slowCards writes and proves so many cards in memory, each slowed down.
func slowCards(shopDir, size, count string) error {
	job, bytes, err := shop{dir: shopDir, size: size}.job()
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(count)
	if err != nil {
		return err
	}
	var targets []media.Target
	for range n {
		targets = append(targets, media.Target{
			Medium: mediatest.Throttled(mediatest.NewMemory(bytes), slowRate), Judge: judge(job, bytes),
		})
	}
	before, err := readByUs()
	if err != nil {
		return err
	}
	outcomes := job.Write(context.Background(), targets)
	after, err := readByUs()
	m := moved{Read: after - before}
	for _, o := range outcomes {
		err = errors.Join(err, o.Err)
		m.Written = append(m.Written, o.Written)
	}
	return errors.Join(err, json.NewEncoder(os.Stdout).Encode(m))
}

func judge(job media.Job, bytes int64) func(context.Context, io.ReaderAt, media.Record, string) error {
	return func(ctx context.Context, read io.ReaderAt, r media.Record, digest string) error {
		expected := verify.Expected{Record: r, Digest: digest, Limits: job.Card.Limits}
		report := verify.Card(ctx, read, bytes, &expected, nil)
		if report.Verdict != verify.Good {
			return fmt.Errorf("%s: %+v", report.Verdict, report.Findings)
		}
		return nil
	}
}

// readByUs is how many bytes this process has read from files.
func readByUs() (int64, error) {
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		return 0, err
	}
	var n int64
	_, err = fmt.Sscanf(strings.TrimSpace(string(text)), "rchar: %d", &n)
	return n, err
}
