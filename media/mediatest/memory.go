// Package mediatest has cards for tests: an honest one in memory, and wrappers
// that make any card lie, decay, fail or slow down. Wrappers are composed by
// putting one around another.
package mediatest

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
)

// Medium is what a card's bytes are written to; the same as media.Medium, repeated
// so that the tests of package media can use this package.
type Medium interface {
	io.ReaderAt
	io.WriterAt
	Bytes() int64
	Sync() error
	Forget() error
}

const pageSize = 64 << 10

type page [pageSize]byte

// Memory is a card in memory. It is sparse: pages that were never written, or
// only with zeros, take no memory and read as zeros. It may be used by several
// goroutines at once.
type Memory struct {
	mu      sync.Mutex
	bytes   int64
	pages   map[int64]*page // as the caller sees the card
	synced  map[int64]*page // as power loss would leave it; pages are shared until written to
	own     map[int64]bool  // pages that synced doesn't share
	journal bool
	pending []Write
	counts  Counts
}

// Counts are the calls that a card has had, and the bytes that they moved.
type Counts struct {
	Reads, Writes, Syncs, Forgets int
	BytesRead, BytesWritten       int64
}

// Write is one write.
type Write struct {
	Offset int64
	Data   []byte
}

// NewMemory is a blank card of that many bytes.
func NewMemory(bytes int64) *Memory {
	return &Memory{bytes: bytes, pages: map[int64]*page{}, synced: map[int64]*page{}, own: map[int64]bool{}}
}

// NewJournaled is a blank card that also remembers each write until it is
// synced; see Pending.
func NewJournaled(bytes int64) *Memory {
	m := NewMemory(bytes)
	m.journal = true
	return m
}

// Bytes is the card's size.
func (m *Memory) Bytes() int64 { return m.bytes }

// ReadAt reads from the card; past its end is io.EOF.
func (m *Memory) ReadAt(p []byte, off int64) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if off < 0 {
		return 0, fmt.Errorf("reading at %d: a negative offset", off)
	}
	n := int(max(0, min(int64(len(p)), m.bytes-off)))
	for part := p[:n]; len(part) > 0; {
		got := min(len(part), pageSize-int(off%pageSize))
		if pg := m.pages[off/pageSize]; pg != nil {
			copy(part[:got], pg[off%pageSize:])
		} else {
			clear(part[:got])
		}
		part, off = part[got:], off+int64(got)
	}
	m.counts.Reads++
	m.counts.BytesRead += int64(n)
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// WriteAt writes to the card; past its end is an error, as on a drive.
func (m *Memory) WriteAt(p []byte, off int64) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if off < 0 {
		return 0, fmt.Errorf("writing at %d: a negative offset", off)
	}
	n := int(max(0, min(int64(len(p)), m.bytes-off)))
	if m.journal {
		m.pending = append(m.pending, Write{off, append([]byte(nil), p[:n]...)})
	}
	m.counts.Writes++
	m.counts.BytesWritten += int64(n)
	for part, at := p[:n], off; len(part) > 0; {
		put := min(len(part), pageSize-int(at%pageSize))
		m.put(part[:put], at/pageSize, int(at%pageSize))
		part, at = part[put:], at+int64(put)
	}
	if n < len(p) {
		return n, fmt.Errorf("writing at %d: %d bytes past the card's end", off, len(p)-n)
	}
	return n, nil
}

// put writes within one page.
func (m *Memory) put(p []byte, number int64, at int) {
	pg := m.pages[number]
	if pg == nil && allZero(p) {
		return
	}
	if !m.own[number] {
		fresh := new(page)
		if pg != nil {
			*fresh = *pg
		}
		m.pages[number], m.own[number], pg = fresh, true, fresh
	}
	copy(pg[at:], p)
}

func allZero(p []byte) bool {
	for _, b := range p {
		if b != 0 {
			return false
		}
	}
	return true
}

// Sync makes everything written so far last.
func (m *Memory) Sync() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for number := range m.own {
		m.synced[number] = m.pages[number]
	}
	clear(m.own)
	m.pending = nil
	m.counts.Syncs++
	return nil
}

// Forget only counts: the card has no cache. See Cached.
func (m *Memory) Forget() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.counts.Forgets++
	return nil
}

// Stretches yields every stretch of the card that isn't all zero, by
// ascending offset. The bytes must not be changed.
func (m *Memory) Stretches(tell func(off int64, data []byte)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, number := range slices.Sorted(maps.Keys(m.pages)) {
		if pg := m.pages[number]; !allZero(pg[:]) {
			tell(number*pageSize, pg[:min(pageSize, m.bytes-number*pageSize)])
		}
	}
}

// Counts are the calls so far.
func (m *Memory) Counts() Counts {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.counts
}

// Durable is a card of its own with what this one would hold if power were
// lost now: all that was synced, nothing that wasn't.
func (m *Memory) Durable() *Memory {
	m.mu.Lock()
	defer m.mu.Unlock()
	d := NewMemory(m.bytes)
	d.pages, d.synced = maps.Clone(m.synced), maps.Clone(m.synced)
	return d
}

// Pending are the writes since the last Sync, in order, of a journaled card.
// Power loss keeps any of them, in full or in part, in any order: write the ones
// that are to survive to Durable.
func (m *Memory) Pending() []Write {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]Write(nil), m.pending...)
}
