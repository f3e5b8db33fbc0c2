package verify

import (
	"context"
	"errors"
	"io"
)

// Reading runs so many batches ahead of hashing.
const (
	batchesAhead = 4
	batchBytes   = 1 << 20
	leastRead    = 128 << 10 // with less room a batch is full
	memoryAlign  = 4096      // where reads past the cache may begin
)

// part is the next bytes of a file.
type part struct {
	bytes []byte
	last  bool
	err   error // why reading ended, where that isn't the file's end
}

// batch is what is handed over at once: a part of one file, or several small
// files.
type batch struct {
	bytes []byte
	used  int
	parts []part
}

func (b *batch) add(n int, err error) {
	b.parts = append(b.parts, part{b.bytes[b.used : b.used+n], err != nil, endOf(err)})
	b.used = min(len(b.bytes), (b.used+n+memoryAlign-1)/memoryAlign*memoryAlign)
}

// ahead reads files whole, one after another.
type ahead struct{ full, empty chan *batch }

// readAhead reads files and hands their parts to take, reading on meanwhile.
// It ends early, between two parts, when ctx does.
func readAhead(ctx context.Context, files []*file, take func(part)) {
	a := ahead{make(chan *batch, batchesAhead), make(chan *batch, batchesAhead)}
	for range batchesAhead {
		a.empty <- &batch{bytes: make([]byte, batchBytes)}
	}
	go a.read(ctx, files)
	for b := range a.full {
		for _, p := range b.parts {
			take(p)
		}
		b.used, b.parts = 0, b.parts[:0]
		a.empty <- b
	}
}

func (a ahead) read(ctx context.Context, files []*file) {
	defer close(a.full)
	b := <-a.empty
	for _, f := range files {
		if ctx.Err() != nil {
			break
		}
		b = a.readFile(ctx, b, f)
	}
	a.full <- b
}

// readFile reads one file, and returns the batch that isn't full yet.
func (a ahead) readFile(ctx context.Context, b *batch, f *file) *batch {
	in, err := f.open()
	if err != nil {
		b.add(0, err)
		return b
	}
	defer in.Close()
	for err == nil && ctx.Err() == nil {
		if len(b.bytes)-b.used < leastRead {
			a.full <- b
			b = <-a.empty
		}
		var n int
		n, err = io.ReadFull(in, b.bytes[b.used:])
		b.add(n, err)
	}
	return b
}

func endOf(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}
