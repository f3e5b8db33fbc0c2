package sentences

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// Bounds of what is read. A log may have any length: it is read line by line.
const (
	maxLine    = 4096
	maxSources = 64
	maxSamples = 400_000 // values kept in all: at 15 a second more than 7 hours
	buffer     = 64 << 10
)

// Options of reading.
type Options struct {
	// NoChecksum takes sentences without a checksum; a wrong one is never taken.
	NoChecksum bool
}

// Reader collects logs: one after the other they are one.
type Reader struct {
	log     *Log
	options Options
	clock   clock
	byName  map[name]*Source
	recent  [kindCount]*Source  // the last source of each kind of sentence
	where   map[*Source]*Source // positions of sentences that tell something else too
	fields  fields              // of the sentence that is being read
	samples int
	dated   bool
	arrival func() time.Time // of a line, where it is heard live
}

// checkEvery is after how many lines reading can be interrupted.
const checkEvery = 256

// name of a source, for finding it without making a string.
type name [6]byte

// NewReader begins a log.
func NewReader(o Options) *Reader {
	r := &Reader{log: &Log{Sources: []*Source{}}, options: o, byName: map[name]*Source{}, where: map[*Source]*Source{}}
	r.clock = clock{log: r.log, counts: &r.log.Counts, now: math.NaN()}
	r.log.Counts.WithoutUsed = o.NoChecksum
	return r
}

// Read takes a log up to its end. A log that can't be read any further is an
// error; one that isn't a log is no error, it has nothing in it.
func (r *Reader) Read(ctx context.Context, file string, in io.Reader) error {
	r.log.Files = append(r.log.Files, file)
	lines := bufio.NewReaderSize(in, buffer)
	long := false // within a line that is too long
	for n := 0; ; n++ {
		line, err := lines.ReadSlice('\n')
		full := err != nil && errors.Is(err, bufio.ErrBufferFull)
		switch {
		case long || full || len(line) > maxLine:
			long = r.longLine(line, long, full)
		case len(line) > 0:
			r.line(line)
		}
		switch {
		case err == nil || full:
		case errors.Is(err, io.EOF):
			return nil
		default:
			return fmt.Errorf("reading %s: %w", file, err)
		}
		if n%checkEvery == 0 && ctx.Err() != nil {
			return fmt.Errorf("reading %s: %w", file, ctx.Err())
		}
	}
}

// Live takes what is heard live: its times are those at which the lines came in.
func (r *Reader) Live(ctx context.Context, place string, in io.Reader, now func() time.Time) error {
	r.arrival = now
	defer func() { r.arrival = nil }()
	return r.Read(ctx, place, in)
}

// longLine takes a part of a line that is too long. Where carriage returns end the
// lines, the part is several. It reports whether what follows belongs to it.
func (r *Reader) longLine(part []byte, begun, goesOn bool) bool {
	if bytes.IndexByte(part, '\r') >= 0 && bytes.IndexByte(part, '\r') < len(part)-2 {
		for one := range bytes.SplitSeq(part, []byte{'\r'}) {
			switch {
			case len(one) > maxLine:
				r.log.Counts.Long++
			case len(one) > 0:
				r.line(one)
			}
		}
		return false
	}
	if !begun {
		r.log.Counts.Lines++
		r.log.Counts.Long++
	}
	return goesOn
}

// Log ends reading and gives what was read.
func (r *Reader) Log() *Log {
	r.clock.end()
	r.log.Clock, r.log.shifts = r.clock.source, r.clock.shifts
	for _, s := range r.log.Sources {
		s.Samples = slices.DeleteFunc(s.Samples, func(x Sample) bool { return math.IsNaN(x.T) })
		if byTime := func(a, b Sample) int { return cmp.Compare(a.T, b.T) }; !slices.IsSortedFunc(s.Samples, byTime) {
			slices.SortStableFunc(s.Samples, byTime)
		}
	}
	return r.log
}

func (r *Reader) line(line []byte) {
	c := &r.log.Counts
	c.Lines++
	at := 0
	if line[0] != '$' {
		if at = bytes.IndexByte(line, '$'); at < 0 {
			r.noSentence(line)
			return
		}
	}
	if r.arrival != nil {
		r.stamp(float64(r.arrival().UnixNano())/1e9, true)
	} else if at > 0 {
		r.stampBefore(line[:at])
	}
	for at >= 0 {
		line = line[at+1:]
		body, rest, what := sentence(line)
		switch {
		case what == isRight, what == isWithout && r.options.NoChecksum:
			c.Sentences++
			c.Without += int(what)
			r.sentence(body)
		case what == isWithout:
			c.Without++
		case what == isCut:
			c.Cut++
		default:
			c.Wrong++
		}
		line, at = rest, -1
		if len(line) > addressLength { // else it is the end of the line
			at = bytes.IndexByte(line, '$')
		}
	}
}

// noSentence counts a line in which no sentence begins.
func (r *Reader) noSentence(line []byte) {
	text := bytes.TrimSpace(line)
	switch {
	case len(text) == 0 || text[0] == '#' || bytes.HasPrefix(text, []byte("//")) || text[0] == '\\' && text[len(text)-1] == '\\':
		r.log.Counts.Comments++
	case bytes.IndexByte(text, '!') >= 0: // encapsulated: AIS and the like
		r.log.Counts.Other++
	default:
		r.log.Counts.Nothing++
	}
}

// stampBefore takes the time before a sentence.
func (r *Reader) stampBefore(text []byte) {
	if len(bytes.TrimSpace(text)) == 0 {
		return
	}
	seconds, dated, ok := stampOf(text)
	if !ok {
		if text[0] == '\\' { // a TAG block without a time
			return
		}
		r.log.Counts.Stamps++
		return
	}
	r.stamp(seconds, dated)
}

func (r *Reader) stamp(seconds float64, dated bool) {
	if dated && !r.dated {
		r.dated = true
		r.log.Date = time.Unix(int64(seconds), 0).UTC()
	}
	r.clock.stamp(seconds)
}

// outcome is what became of a sentence; isWithout counts as one.
type outcome int

const (
	isRight outcome = iota
	isWithout
	isWrong
	isCut
)

// sentence cuts a sentence behind its $ into what its checksum covers and what
// follows it. The checksum is the XOR of the characters between $ and *
// (NMEA 0183).
func sentence(line []byte) (body, rest []byte, w outcome) {
	end := bytes.IndexByte(line, '*')
	if end < 0 {
		return unmarked(line)
	}
	body = line[:end]
	if len(line) >= end+3 {
		if given, ok := hexByte(line[end+1], line[end+2]); ok && given == checksum(body) {
			return body, line[end+3:], isRight
		}
	}
	if cut := bytes.IndexByte(body, '$'); cut >= 0 {
		return line[:cut], line[cut:], isCut
	}
	return body, line[end+1:], isWrong
}

// unmarked is a sentence without a checksum: up to the next one, or to the end
// of the line.
func unmarked(line []byte) (body, rest []byte, w outcome) {
	for i, c := range line {
		if c == '$' {
			return line[:i], line[i:], isCut
		}
		if c < ' ' {
			return line[:i], line[i+1:], isWithout
		}
	}
	return bytes.TrimRight(line, " "), nil, isWithout
}

// checksum is the XOR of all bytes, taken eight at a time.
func checksum(body []byte) byte {
	var wide uint64
	for len(body) >= 8 {
		wide ^= binary.LittleEndian.Uint64(body)
		body = body[8:]
	}
	wide ^= wide >> 32
	wide ^= wide >> 16
	wide ^= wide >> 8
	sum := byte(wide)
	for _, c := range body {
		sum ^= c
	}
	return sum
}

func hexByte(a, b byte) (byte, bool) {
	high, ok := hexDigit(a)
	low, also := hexDigit(b)
	return high<<4 | low, ok && also
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}
