package media

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"unsafe"

	"cardwright/manifest/digest"
	"cardwright/manifest/problem"
)

// These bound the memory that writing takes: a few large blocks go round between the
// reader of packages, the hasher and the writers.
const (
	blockBytes = 1 << 20
	blockCount = 8
	laneDepth  = 2
	pageBytes  = 4096 // what direct writes to a drive are aligned to
)

// alignedBytes are n bytes at an address that direct writes accept.
func alignedBytes(n int) []byte {
	b := make([]byte, n+pageBytes)
	skip := -uintptr(unsafe.Pointer(unsafe.SliceData(b))) % pageBytes
	return b[skip : int(skip)+n : int(skip)+n]
}

// block is a piece of the payload, of one or several files, that all lanes share.
// Whoever releases it last gives it back.
type block struct {
	bytes    []byte
	used     int
	segments []segment
	holders  atomic.Int32
	free     chan<- *block
}

// segment says that bytes[from:to] of a block are a file's bytes from `at` on.
type segment struct {
	file     int
	at       int64
	from, to int
}

func (b *block) release() {
	if b.holders.Add(-1) == 0 {
		b.used, b.segments = 0, b.segments[:0]
		b.free <- b
	}
}

// lane is how one target gets its blocks.
type lane struct {
	blocks chan *block
	gone   chan struct{}
	once   sync.Once
	feed   *feed
}

// leave makes the feed stop waiting for this lane, and gives back what is
// still in it.
func (l *lane) leave() {
	l.once.Do(func() {
		close(l.gone)
		go func() {
			for b := range l.blocks {
				b.release()
			}
		}()
	})
}

// result is how the feed ended; it is called once the lane is closed.
func (l *lane) result() (running [][]digest.SHA256, err error) {
	<-l.feed.done
	return l.feed.running, l.feed.err
}

// feed reads the payload of a card once, in card order, hashes it and hands it to
// all lanes.
type feed struct {
	files    []CardFile
	packages Packages
	lanes    []*lane
	free     chan *block
	hashing  chan *block
	done     chan struct{}     // closed when running and err are final
	running  [][]digest.SHA256 // for each file, its running digests
	err      error
}

func newFeed(files []CardFile, packages Packages, lanes int) *feed {
	f := &feed{
		files: files, packages: packages,
		free: make(chan *block, blockCount), hashing: make(chan *block, laneDepth), done: make(chan struct{}),
	}
	for range lanes {
		f.lanes = append(f.lanes, &lane{blocks: make(chan *block, laneDepth), gone: make(chan struct{}), feed: f})
	}
	for range blockCount {
		f.free <- &block{bytes: alignedBytes(blockBytes), free: f.free}
	}
	return f
}

// run ends when everything has been handed out, or no lane is left.
func (f *feed) run(ctx context.Context) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var hash error
	hashed := make(chan struct{})
	go func() {
		defer close(hashed)
		hash = f.hash(stop)
	}()
	read := f.read(ctx)
	close(f.hashing)
	<-hashed
	f.err = read
	if hash != nil { // it explains why reading was stopped
		f.err = hash
	}
	close(f.done)
	for _, l := range f.lanes {
		close(l.blocks)
	}
}

var errNobodyLeft = errors.New("every target has failed")

func (f *feed) read(ctx context.Context) error {
	b := <-f.free
	for i, file := range f.files {
		var err error
		if b, err = f.readFile(ctx, b, i, file); err != nil {
			return err
		}
	}
	return f.hand(ctx, b)
}

// readFile reads one file to its end, hands out every full block, and returns the
// one that isn't full yet.
func (f *feed) readFile(ctx context.Context, b *block, i int, file CardFile) (*block, error) {
	in, err := f.packages.Open(file.Source)
	if err != nil {
		return b, err
	}
	defer in.Close()
	// So that the rest of the file is aligned in the blocks that follow, and is
	// written from there.
	b.used = (b.used + pageBytes - 1) / pageBytes * pageBytes
	for at := int64(0); at < file.Size; {
		if b.used == len(b.bytes) {
			if err := f.hand(ctx, b); err != nil {
				return b, err
			}
			b = <-f.free
		}
		want := min(int64(len(b.bytes)-b.used), file.Size-at)
		n, err := io.ReadFull(in, b.bytes[b.used:b.used+int(want)])
		if err != nil {
			return b, f.short(file, at+int64(n), err)
		}
		b.segments = append(b.segments, segment{i, at, b.used, b.used + n})
		b.used += n
		at += int64(n)
	}
	var more [1]byte
	if n, _ := in.Read(more[:]); n > 0 {
		return b, f.otherSize(file, "more than that")
	}
	return b, nil
}

func (f *feed) short(file CardFile, got int64, err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return f.otherSize(file, Bytes(got))
	}
	return fmt.Errorf("reading package %s: %w", file.Source.Name, err)
}

func (f *feed) otherSize(file CardFile, found string) error {
	return &PackageError{file.Source, f.packages.whereFound(file.Source), problem.Problem{Expected: Bytes(file.Size), Found: found, Advice: "download it again"}}
}

// hand gives a block to the hasher and to every lane that is left.
func (f *feed) hand(ctx context.Context, b *block) error {
	b.holders.Store(int32(len(f.lanes)) + 1)
	f.hashing <- b
	left := 0
	for _, l := range f.lanes {
		select {
		case <-l.gone:
			b.release()
			continue
		default:
		}
		select {
		case l.blocks <- b:
			left++
		case <-l.gone:
			b.release()
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if left == 0 {
		return errNobodyLeft
	}
	return nil
}

// hash forms the digests of all files and compares them with the catalogue's. The
// first that differs stops the reading: whatever was written would be blanked.
func (f *feed) hash(stop func()) (err error) {
	f.running = make([][]digest.SHA256, len(f.files))
	running := NewRunning()
	current := -1
	finish := func(upTo int) {
		for ; current < upTo; current++ {
			if current >= 0 && err == nil {
				if err = f.compare(current, running); err != nil {
					stop()
				}
			}
			running = NewRunning()
		}
	}
	for b := range f.hashing {
		for _, s := range b.segments {
			if s.file != current {
				finish(s.file)
			}
			running.Write(b.bytes[s.from:s.to])
		}
		b.release()
	}
	finish(len(f.files))
	return err
}

func (f *feed) compare(i int, got *Running) error {
	file := f.files[i]
	if got.Size() < file.Size {
		return nil // reading stopped before its end, and says why
	}
	if got.SHA256() != file.SHA256 {
		return file.Source.differs(f.packages.whereFound(file.Source), file.SHA256, got.SHA256())
	}
	f.running[i] = got.Digests()
	return nil
}

// gather joins small writes that follow one another into large ones.
type gather struct {
	w      io.WriterAt
	buffer []byte
	at     int64 // where the buffer's first byte goes
	used   int
}

// write writes p at `at`; large pieces that are aligned go out as they are.
func (g *gather) write(at int64, p []byte) error {
	direct := len(p) / pageBytes * pageBytes
	asIs := direct >= blockBytes/2 && aligned(p) && at%pageBytes == 0
	if asIs || g.used > 0 && at != g.at+int64(g.used) {
		if err := g.flush(); err != nil {
			return err
		}
	}
	if asIs {
		if _, err := g.w.WriteAt(p[:direct], at); err != nil {
			return err
		}
		at, p = at+int64(direct), p[direct:]
	}
	for len(p) > 0 {
		if g.used == 0 {
			g.at = at
		}
		n := copy(g.buffer[g.used:], p)
		g.used += n
		at, p = at+int64(n), p[n:]
		if g.used == len(g.buffer) {
			if err := g.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func aligned(p []byte) bool {
	return uintptr(unsafe.Pointer(unsafe.SliceData(p)))%pageBytes == 0
}

// pad writes zeros from `from` to `to`, the rest of a file's last cluster.
func (g *gather) pad(from, to int64) error {
	for from < to {
		n := min(to-from, int64(len(zeroPage)))
		if err := g.write(from, zeroPage[:n]); err != nil {
			return err
		}
		from += n
	}
	return nil
}

var zeroPage [pageBytes]byte

func (g *gather) flush() error {
	if g.used == 0 {
		return nil
	}
	_, err := g.w.WriteAt(g.buffer[:g.used], g.at)
	g.used = 0
	return err
}
