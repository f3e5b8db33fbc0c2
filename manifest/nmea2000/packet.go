package nmea2000

import (
	"bytes"
	"math"
)

// Bounds of fast packets.
const (
	maxFast     = 223  // bytes of a message: 6 + 31·7
	firstBytes  = 6    // of the first frame
	nextBytes   = 7    // of each that follows
	maxSilence  = 0.75 // seconds between two frames of one message
	productSize = 134  // bytes of the product information
)

// Broken says how many messages were begun and not read to their end, by what
// was wrong.
type Broken struct {
	NoStart  int `json:"no_start"` // frames without a first one before them
	Gaps     int `json:"gaps"`     // a frame missing
	Repeated int `json:"repeated"` // a frame twice, with other content
	Lengths  int `json:"lengths"`  // a length that no such message has
	Late     int `json:"late"`     // a frame too long after the one before
	Cut      int `json:"cut"`      // the capture ended, or another message began
	Doubled  int `json:"doubled"`  // frames twice with the same content: left out, nothing is wrong
	Unwanted int `json:"-"`        // frames behind a message that was broken off
}

// Messages is how many messages were lost.
func (b Broken) Messages() int { return b.Gaps + b.Repeated + b.Lengths + b.Late + b.Cut }

// stream is one sender's messages with one sequence counter.
type stream struct {
	bus      int
	source   uint8
	sequence uint8
}

// partial is a message of which frames are still to come. Frames come in their
// order: a network keeps it, and a message put together from two others would
// look whole.
type partial struct {
	data    [maxFast]byte
	length  int
	have    int
	next    uint8 // the frame to come
	last    [maxFrame]byte
	lastLen int
	at      float64
	skip    bool // broken: the rest is left out until the next first frame
}

// joiner puts fast packets together. Its memory is bounded by the addresses
// and sequences that there can be on the buses of one capture.
type joiner struct {
	open   map[stream]*partial
	broken Broken
}

// add takes a frame, and returns the message where it was its last one.
func (j *joiner) add(bus int, f frame) []byte {
	if len(f.data) > maxFrame {
		return f.data // joined by the capture
	}
	if len(f.data) < 2 {
		j.broken.Lengths++
		return nil
	}
	key := stream{bus, f.source, f.data[0] >> 5}
	number := f.data[0] & 0x1F
	p := j.open[key]
	if number == 0 {
		return j.first(key, p, f)
	}
	switch {
	case p == nil:
		j.broken.NoStart++
		return nil
	case p.skip:
		j.broken.Unwanted++
		return nil
	case number == p.next-1 && bytes.Equal(f.data, p.last[:p.lastLen]):
		j.broken.Doubled++
		return nil
	case number < p.next:
		return p.fail(&j.broken.Repeated)
	case number > p.next:
		return p.fail(&j.broken.Gaps)
	case f.at-p.at > maxSilence:
		return p.fail(&j.broken.Late)
	}
	return j.append(key, p, f, f.data[1:])
}

func (j *joiner) first(key stream, p *partial, f frame) []byte {
	if p != nil && !p.skip {
		if p.next == 1 && bytes.Equal(f.data, p.last[:p.lastLen]) && !(f.at-p.at > maxSilence) {
			j.broken.Doubled++
			return nil
		}
		j.broken.Cut++
	}
	p = &partial{length: int(f.data[1]), at: f.at}
	j.open[key] = p
	if p.length > maxFast || p.length <= firstBytes {
		return p.fail(&j.broken.Lengths)
	}
	return j.append(key, p, f, f.data[2:])
}

// append takes a frame's content. Anything behind the message's end in its
// last frame is filling.
func (j *joiner) append(key stream, p *partial, f frame, content []byte) []byte {
	want := nextBytes
	if p.next == 0 {
		want = firstBytes
	}
	want = min(want, p.length-p.have)
	if len(content) < want {
		return p.fail(&j.broken.Lengths)
	}
	p.have += copy(p.data[p.have:], content[:want])
	p.next++
	p.lastLen = copy(p.last[:], f.data)
	if !math.IsNaN(f.at) {
		p.at = f.at
	}
	if p.have < p.length {
		return nil
	}
	delete(j.open, key)
	return p.data[:p.length]
}

// fail breaks a message off.
func (p *partial) fail(count *int) []byte {
	*count++
	p.skip = true
	return nil
}

// end counts the messages that the end of the capture cut off.
func (j *joiner) end() {
	for _, p := range j.open {
		if !p.skip {
			j.broken.Cut++
		}
	}
}
