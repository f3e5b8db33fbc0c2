package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"

	"cardwright/verify/ledger"
)

// Reading what is left of a damaged SQLite file, by the file format that
// sqlite.org/fileformat2.html describes. Events prove themselves, so nothing
// else in the file has to be believed: every place that looks like the header
// of an event's record is tried.

const (
	walHeader   = 32
	frameHeader = 24
	firstPage   = 4096 // the page size we use, where the header is lost
)

// pages reads the pages of a database file and of its write-ahead log.
type pages struct {
	db, wal *os.File
	size    int64            // of one page
	count   int64            // in db
	newer   map[uint32]int64 // pages that are in the log: offset of the last one
	frames  []int64          // offsets of all pages in the log
	budget  int64            // bytes of records that may still be read
}

// errBusywork says that far more seems to stand in a file than fits in it.
var errBusywork = errors.New("the file holds the same places again and again: it was made to keep a reader busy")

func openPages(path string) (*pages, error) {
	path, err := followed(path)
	if err != nil {
		return nil, err
	}
	if err := mustBeFile(path); err != nil {
		return nil, err
	}
	db, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	p := &pages{db: db, newer: map[uint32]int64{}}
	if err := p.measure(); err != nil {
		return nil, errors.Join(err, p.close())
	}
	wal, err := os.Open(path + "-wal")
	if errors.Is(err, os.ErrNotExist) {
		return p, nil
	}
	if err != nil {
		return nil, errors.Join(err, p.close())
	}
	p.wal = wal
	if err := p.readLog(); err != nil {
		return nil, errors.Join(err, p.close())
	}
	return p, nil
}

func (p *pages) close() error {
	if p.wal == nil {
		return p.db.Close()
	}
	return errors.Join(p.db.Close(), p.wal.Close())
}

// measure finds the page size: at offset 16 of the file, a power of two.
func (p *pages) measure() error {
	info, err := p.db.Stat()
	if err != nil {
		return err
	}
	head := make([]byte, 18)
	if _, err := p.db.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("reading its first page: %w", err)
	}
	p.size = pageSize(uint32(binary.BigEndian.Uint16(head[16:])))
	p.count = (info.Size() + p.size - 1) / p.size
	p.budget += 4*info.Size() + batchBytes
	return nil
}

func pageSize(n uint32) int64 {
	switch {
	case n == 1:
		return 65536
	case n >= 512 && n <= 32768 && n&(n-1) == 0:
		return int64(n)
	}
	return firstPage
}

// readLog finds the pages of the log that were committed: frames with the
// log's own salt, up to the last one that ends a transaction. Checksums are
// not asked for, since a worn frame may still hold sound events.
func (p *pages) readLog() error {
	info, err := p.wal.Stat()
	if err != nil {
		return err
	}
	head := make([]byte, walHeader)
	if _, err := io.ReadFull(io.NewSectionReader(p.wal, 0, walHeader), head); err != nil {
		return nil // an empty or torn log holds nothing
	}
	p.budget += 4 * info.Size()
	step := frameHeader + p.size
	var pending []int64
	numbers := map[int64]uint32{}
	frame := make([]byte, frameHeader)
	for at := int64(walHeader); at+step <= info.Size(); at += step {
		if _, err := p.wal.ReadAt(frame, at); err != nil {
			return fmt.Errorf("reading the log: %w", err)
		}
		if string(frame[8:16]) != string(head[16:24]) {
			continue
		}
		pending = append(pending, at+frameHeader)
		numbers[at+frameHeader] = binary.BigEndian.Uint32(frame)
		if binary.BigEndian.Uint32(frame[4:]) != 0 { // ends a transaction
			p.frames = append(p.frames, pending...)
			pending = nil
		}
	}
	for _, at := range p.frames {
		p.newer[numbers[at]] = at
	}
	return nil
}

// page reads one page as the last transaction left it. What can't be read is
// zeros.
func (p *pages) page(number uint32, into []byte) bool {
	if at, ok := p.newer[number]; ok {
		return readWhatThereIs(p.wal, at, into)
	}
	if number == 0 || int64(number) > p.count {
		return false
	}
	return readWhatThereIs(p.db, int64(number-1)*p.size, into)
}

// readWhatThereIs reads around sectors that the medium doesn't give.
func readWhatThereIs(f *os.File, at int64, into []byte) bool {
	clear(into)
	if n, err := f.ReadAt(into, at); err == nil || errors.Is(err, io.EOF) {
		return n > 0
	}
	const sector = 512
	found := false
	for off := 0; off < len(into); off += sector {
		part := into[off:min(off+sector, len(into))]
		if _, err := f.ReadAt(part, at+int64(off)); err != nil && !errors.Is(err, io.EOF) {
			clear(part)
			continue
		}
		found = true
	}
	return found
}

// each gives every page of the file and of its log. The slice is used again.
func (p *pages) each(give func(page []byte) error) error {
	page := make([]byte, p.size)
	for n := int64(0); n < p.count; n++ {
		if readWhatThereIs(p.db, n*p.size, page) {
			if err := give(page); err != nil {
				return err
			}
		}
	}
	for _, at := range p.frames {
		if readWhatThereIs(p.wal, at, page) {
			if err := give(page); err != nil {
				return err
			}
		}
	}
	return nil
}

// The record of an event has 16 columns: no (kept elsewhere, so NULL), id
// (32 bytes), chain, seq, ord (32 bytes), ten texts, content, signature (64
// bytes). In a record's header each has a type number: NULL is 0, n bytes are
// 12+2n, text of n bytes is 13+2n, whole numbers are below 10.
const (
	recordColumns = 16
	typeID        = 12 + 2*32
	typeSignature = 12 + 2*64
	atID          = 1
	atContent     = 14
	atSignature   = 15
	leastHeader   = 1 + recordColumns
	mostHeader    = 64
)

// found is an event's parts as they were found in a file.
type found struct {
	id                 ledger.ID
	content, signature []byte
}

// events gives everything in a page that looks like an event.
func (p *pages) events(page []byte, give func(found) error) error {
	for at := 0; at+leastHeader < len(page); at++ {
		if page[at+1] != 0 || page[at+2] != typeID || page[at] < leastHeader || page[at] > mostHeader {
			continue
		}
		f, ok := p.record(page, at)
		if p.budget < 0 {
			return errBusywork
		}
		if ok {
			if err := give(f); err != nil {
				return err
			}
		}
	}
	return nil
}

// record reads the record whose header begins at an offset.
func (p *pages) record(page []byte, at int) (f found, ok bool) {
	sizes, total, ok := recordSizes(page[at:])
	if !ok {
		return f, false
	}
	payload, ok := p.payload(page, at, total)
	if !ok {
		return f, false
	}
	off := int(page[at])
	for i, n := range sizes {
		part := payload[off : off+n]
		switch i {
		case atID:
			copy(f.id[:], part)
		case atContent:
			f.content = part
		case atSignature:
			f.signature = part
		}
		off += n
	}
	return f, true
}

// recordSizes reads the types in a record's header; total is the length of
// header and columns.
func recordSizes(b []byte) (sizes [recordColumns]int, total int, ok bool) {
	length := int(b[0])
	if length > len(b) {
		return sizes, 0, false
	}
	at := 1
	total = length
	for i := range recordColumns {
		kind, n := varint(b[at:length])
		if n == 0 {
			return sizes, 0, false
		}
		at += n
		if sizes[i], ok = sizeOf(kind); !ok {
			return sizes, 0, false
		}
		if i == atSignature && kind != typeSignature || i == atContent && (kind < 13 || kind%2 == 0) {
			return sizes, 0, false
		}
		total += sizes[i]
	}
	return sizes, total, at == length
}

func sizeOf(kind uint64) (int, bool) {
	switch {
	case kind >= 12 && kind <= 2*ledger.MaxContent+13:
		return int(kind-12) / 2, true
	case kind < 10:
		return []int{0, 1, 2, 3, 4, 6, 8, 8, 0, 0}[kind], true
	}
	return 0, false
}

// varint reads a number of 7-bit groups, at most three of them: more are more
// than an event may have. n is 0 where there is none.
func varint(b []byte) (v uint64, n int) {
	for n < 3 && n < len(b) {
		v = v<<7 | uint64(b[n]&0x7f)
		n++
		if b[n-1] < 0x80 {
			return v, n
		}
	}
	return 0, 0
}

// payload reads a record that begins in a page and may go on in others.
func (p *pages) payload(page []byte, at, total int) ([]byte, bool) {
	local := p.local(total)
	p.budget -= int64(total)
	if at+local > len(page) {
		return nil, false
	}
	out := append(make([]byte, 0, total), page[at:at+local]...)
	if local == total {
		return out, true
	}
	if at+local+4 > len(page) {
		return nil, false
	}
	next := binary.BigEndian.Uint32(page[at+local:])
	more := make([]byte, p.size)
	for len(out) < total {
		if !p.page(next, more) {
			return nil, false
		}
		next = binary.BigEndian.Uint32(more)
		out = append(out, more[4:min(4+total-len(out), len(more))]...)
	}
	return out, true
}

// local is how much of a record is in its own page (file format, 1.6).
func (p *pages) local(total int) int {
	u := int(p.size)
	if total <= u-35 {
		return total
	}
	least := (u-12)*32/255 - 23
	if k := least + (total-least)%(u-4); k <= u-35 {
		return k
	}
	return least
}
