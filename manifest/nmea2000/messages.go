package nmea2000

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
)

// Message is one message of an NMEA 2000 network.
type Message struct {
	Bus    string
	At     float64 // seconds, of whatever clock the capture has; NaN: it doesn't say
	PGN    uint32
	Source uint8
	Data   []byte // good until the next one
}

// Counts are what became of a capture's lines.
type Counts struct{ Lines, Frames, Bad, Long int }

// Messages gives the messages of a capture one after the other. A frame is a message,
// but for the PGNs of fast: those are joined from several frames first.
func Messages(ctx context.Context, name string, in io.Reader, fast map[uint32]bool, give func(Message)) (Counts, error) {
	var r Counts
	var table *columns
	joiners := map[uint32]*joiner{}
	buses := map[string]int{}
	err := eachLine(ctx, name, in, func(line string, long bool) {
		r.Lines++
		if table == nil && r.Frames == 0 {
			if table = heading(line); table != nil {
				return
			}
		}
		if long {
			r.Long++
			return
		}
		f, what := parseFrame(line, table)
		switch {
		case what == isBad:
			r.Bad++
			return
		case what != isFrame:
			return
		}
		r.Frames++
		if data := completed(f, fast, joiners, buses); data != nil {
			give(Message{f.bus, f.at, f.pgn, f.source, data})
		}
	})
	return r, err
}

// completed is a message that is whole with this frame; nil where it isn't yet.
func completed(f frame, fast map[uint32]bool, joiners map[uint32]*joiner, buses map[string]int) []byte {
	if !fast[f.pgn] {
		return f.data
	}
	bus, ok := buses[f.bus]
	if !ok {
		if len(buses) == maxBuses {
			return nil
		}
		bus = len(buses)
		buses[f.bus] = bus
	}
	j := joiners[f.pgn]
	if j == nil {
		j = &joiner{open: map[stream]*partial{}}
		joiners[f.pgn] = j
	}
	return j.add(bus, f)
}

// eachLine gives the lines of a capture; of one that is too long, its beginning.
func eachLine(ctx context.Context, name string, in io.Reader, give func(line string, long bool)) error {
	lines := bufio.NewReaderSize(in, MaxLine)
	for {
		line, err := lines.ReadSlice('\n')
		long := errors.Is(err, bufio.ErrBufferFull)
		if len(line) > 0 {
			give(string(line), long)
		}
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = lines.ReadSlice('\n')
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return fmt.Errorf("reading capture %s: %w", name, err)
		case ctx.Err() != nil:
			return fmt.Errorf("reading capture %s: %w", name, ctx.Err())
		}
	}
}

// IsFrame reports whether a line is a frame of a form that is read without a
// heading.
func IsFrame(line string) bool {
	f, what := parseFrame(line, nil)
	return what == isFrame && (len(f.data) > 0 || !math.IsNaN(f.at))
}

// IsHeading reports whether a line is the heading of a capture in CSV.
func IsHeading(line string) bool { return heading(line) != nil }
