package mediatest

import (
	"errors"
	"io"
	"sync"
	"time"
)

// Errors that faulty cards answer with.
var (
	ErrPower    = errors.New("power lost")
	ErrReadOnly = errors.New("read-only medium")
)

// tap is a card with some of its calls led elsewhere.
type tap struct {
	Medium
	bytes  func() int64
	read   func(p []byte, off int64) (int, error)
	write  func(p []byte, off int64) (int, error)
	sync   func() error
	forget func() error
}

func (t *tap) Bytes() int64 {
	if t.bytes != nil {
		return t.bytes()
	}
	return t.Medium.Bytes()
}

func (t *tap) ReadAt(p []byte, off int64) (int, error) {
	if t.read != nil {
		return t.read(p, off)
	}
	return t.Medium.ReadAt(p, off)
}

func (t *tap) WriteAt(p []byte, off int64) (int, error) {
	if t.write != nil {
		return t.write(p, off)
	}
	return t.Medium.WriteAt(p, off)
}

func (t *tap) Sync() error {
	if t.sync != nil {
		return t.sync()
	}
	return t.Medium.Sync()
}

func (t *tap) Forget() error {
	if t.forget != nil {
		return t.forget()
	}
	return t.Medium.Forget()
}

// counter numbers calls from 1.
type counter struct {
	mu sync.Mutex
	n  int
}

func (c *counter) next() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n++
	return c.n
}

// Wrapping is a card that claims more bytes than are under it: what lies past
// them lands on its start again. Its first protect bytes take no such write,
// so that the partition table and folders stay as they were.
func Wrapping(under Medium, claimed, protect int64) Medium {
	size := under.Bytes()
	return &tap{
		Medium: under,
		bytes:  func() int64 { return claimed },
		read: func(p []byte, off int64) (int, error) {
			return inPieces(p, off, claimed, size, func(part []byte, at int64) (int, error) {
				return under.ReadAt(part, at%size)
			})
		},
		write: func(p []byte, off int64) (int, error) {
			return inPieces(p, off, claimed, size, func(part []byte, at int64) (int, error) {
				if at < size {
					return under.WriteAt(part, at)
				}
				lost := max(0, min(int64(len(part)), protect-at%size))
				n, err := under.WriteAt(part[lost:], at%size+lost)
				return int(lost) + n, err
			})
		},
	}
}

// Dropping is a card that claims more bytes than are under it: what is written
// past them is lost without a word and reads as zeros.
func Dropping(under Medium, claimed int64) Medium {
	size := under.Bytes()
	return &tap{
		Medium: under,
		bytes:  func() int64 { return claimed },
		read: func(p []byte, off int64) (int, error) {
			return inPieces(p, off, claimed, size, func(part []byte, at int64) (int, error) {
				if at < size {
					return under.ReadAt(part, at)
				}
				clear(part)
				return len(part), nil
			})
		},
		write: func(p []byte, off int64) (int, error) {
			return inPieces(p, off, claimed, size, func(part []byte, at int64) (int, error) {
				if at < size {
					return under.WriteAt(part, at)
				}
				return len(part), nil
			})
		},
	}
}

// inPieces does a call on a card of claimed bytes in pieces that don't cross a
// multiple of size.
func inPieces(p []byte, off, claimed, size int64, do func(part []byte, at int64) (int, error)) (int, error) {
	for done := 0; done < len(p); {
		at := off + int64(done)
		if at >= claimed {
			return done, io.EOF
		}
		length := min(int64(len(p)-done), size-at%size, claimed-at)
		n, err := do(p[done:done+int(length)], at)
		done += n
		if err != nil {
			return done, err
		}
	}
	return len(p), nil
}

// Protecting is a card that keeps its first bytes as they are, whatever is
// written there, without a word.
func Protecting(under Medium, first int64) Medium {
	return &tap{Medium: under, write: func(p []byte, off int64) (int, error) {
		lost := max(0, min(int64(len(p)), first-off))
		n, err := under.WriteAt(p[lost:], off+lost)
		return int(lost) + n, err
	}}
}

// RotOnFirstRead flips the mask's bits of the byte at the offset the first
// time that it is read.
func RotOnFirstRead(under Medium, offset int64, mask byte) Medium {
	return rot(under, offset, mask, func(nth int) bool { return nth == 1 })
}

// Decay flips the mask's bits of the byte at the offset once it was read well
// so many times; for ever if that is 0.
func Decay(under Medium, offset int64, mask byte, good int) Medium {
	return rot(under, offset, mask, func(nth int) bool { return nth > good })
}

func rot(under Medium, offset int64, mask byte, rotten func(nth int) bool) Medium {
	var reads counter
	return &tap{Medium: under, read: func(p []byte, off int64) (int, error) {
		n, err := under.ReadAt(p, off)
		if off <= offset && offset < off+int64(n) && rotten(reads.next()) {
			p[offset-off] ^= mask
		}
		return n, err
	}}
}

// TornWrite keeps only the first bytes of the nth write, counted from 1, and
// says nothing; with keep 0 the write is lost.
func TornWrite(under Medium, nth, keep int) Medium {
	return onWrite(under, nth, func(p []byte, off int64) (int, error) {
		if n, err := under.WriteAt(p[:min(keep, len(p))], off); err != nil {
			return n, err
		}
		return len(p), nil
	})
}

// MisdirectedWrite puts the nth write, counted from 1, so many bytes further,
// and says nothing.
func MisdirectedWrite(under Medium, nth int, by int64) Medium {
	return onWrite(under, nth, func(p []byte, off int64) (int, error) {
		return under.WriteAt(p, off+by)
	})
}

// onWrite does the nth write otherwise.
func onWrite(under Medium, nth int, otherwise func(p []byte, off int64) (int, error)) Medium {
	var writes counter
	return &tap{Medium: under, write: func(p []byte, off int64) (int, error) {
		if writes.next() == nth {
			return otherwise(p, off)
		}
		return under.WriteAt(p, off)
	}}
}

// ShortRead gives only the first bytes of the nth read, counted from 1, with
// the error; a nil error breaks the rules of io.ReaderAt.
func ShortRead(under Medium, nth, keep int, err error) Medium {
	var reads counter
	return &tap{Medium: under, read: func(p []byte, off int64) (int, error) {
		if reads.next() != nth {
			return under.ReadAt(p, off)
		}
		n, readErr := under.ReadAt(p[:min(keep, len(p))], off)
		return n, errors.Join(readErr, err)
	}}
}

// ReadError answers reads of the byte at the offset with the error, after the
// bytes before it.
func ReadError(under Medium, offset int64, err error) Medium {
	return &tap{Medium: under, read: func(p []byte, off int64) (int, error) {
		return upTo(under.ReadAt, p, off, offset, err)
	}}
}

// WriteError answers writes to the byte at the offset with the error, after
// the bytes before it.
func WriteError(under Medium, offset int64, err error) Medium {
	return &tap{Medium: under, write: func(p []byte, off int64) (int, error) {
		return upTo(under.WriteAt, p, off, offset, err)
	}}
}

func upTo(do func([]byte, int64) (int, error), p []byte, off, bad int64, err error) (int, error) {
	if bad < off || bad >= off+int64(len(p)) {
		return do(p, off)
	}
	n, doErr := do(p[:bad-off], off)
	return n, errors.Join(doErr, err)
}

// ReadOnly is a card with its lock on.
func ReadOnly(under Medium) Medium {
	return &tap{Medium: under, write: func([]byte, int64) (int, error) { return 0, ErrReadOnly }}
}

// PowerCut loses power at the nth write or sync, counted together from 1: that
// one and everything after it, reads too, fail with ErrPower. The Memory under it
// has what is left.
func PowerCut(under Medium, nth int) Medium {
	return Fail(under, nth, ErrPower)
}

// Fail is PowerCut with an error of its own, as of a card that was taken out.
func Fail(under Medium, nth int, err error) Medium {
	f := &failing{nth: nth}
	return &tap{
		Medium: under,
		read: func(p []byte, off int64) (int, error) {
			if f.failed(0) {
				return 0, err
			}
			return under.ReadAt(p, off)
		},
		write: func(p []byte, off int64) (int, error) {
			if f.failed(1) {
				return 0, err
			}
			return under.WriteAt(p, off)
		},
		sync: func() error {
			if f.failed(1) {
				return err
			}
			return under.Sync()
		},
		forget: func() error {
			if f.failed(0) {
				return err
			}
			return under.Forget()
		},
	}
}

type failing struct {
	mu  sync.Mutex
	nth int
	n   int
}

// failed counts so many calls more and says whether the medium has failed.
func (f *failing) failed(more int) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.n += more
	return f.n >= f.nth
}

// Shrinking is a card that has only so many bytes left from the nth write on,
// counted from 1: what is past them can't be read or written.
func Shrinking(under Medium, nth int, left int64) Medium {
	f := &failing{nth: nth}
	size := func(more int) int64 {
		if f.failed(more) {
			return left
		}
		return under.Bytes()
	}
	return &tap{
		Medium: under,
		bytes:  func() int64 { return size(0) },
		read: func(p []byte, off int64) (int, error) {
			return within(under.ReadAt, p, off, size(0), io.EOF)
		},
		write: func(p []byte, off int64) (int, error) {
			return within(under.WriteAt, p, off, size(1), io.ErrShortWrite)
		},
	}
}

func within(do func([]byte, int64) (int, error), p []byte, off, size int64, past error) (int, error) {
	if off+int64(len(p)) <= size {
		return do(p, off)
	}
	n, err := do(p[:max(0, size-off)], off)
	return n, errors.Join(err, past)
}

// Throttled moves at most so many bytes a second, reads and writes together.
func Throttled(under Medium, bytesPerSecond int64) Medium {
	var mu sync.Mutex
	var free time.Time // when the bus is free again
	wait := func(n int) {
		mu.Lock()
		if now := time.Now(); free.Before(now) {
			free = now
		}
		free = free.Add(time.Duration(int64(n) * int64(time.Second) / bytesPerSecond))
		until := free
		mu.Unlock()
		time.Sleep(time.Until(until))
	}
	return &tap{
		Medium: under,
		read: func(p []byte, off int64) (int, error) {
			n, err := under.ReadAt(p, off)
			wait(n)
			return n, err
		},
		write: func(p []byte, off int64) (int, error) {
			n, err := under.WriteAt(p, off)
			wait(n)
			return n, err
		},
	}
}
