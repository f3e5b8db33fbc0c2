package sentences

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"time"

	"cardwright/manifest/nmea2000"
)

// The groups of NMEA 2000 that tell what sentences tell. Their layouts are as
// canboat's public definitions have them.
const (
	pgnTime      = 126992 // system time
	pgnRudder    = 127245
	pgnHeading   = 127250
	pgnRate      = 127251
	pgnVariation = 127258
	pgnPosition  = 129025
	pgnGround    = 129026
	pgnFix       = 129029 // a fast packet
)

var fastGroups = map[uint32]bool{pgnFix: true}

// sniffed is how much of a file is read to find out its form, in bytes.
const sniffed = 32 << 10

// ReadAny takes a log of sentences, or a text capture of NMEA 2000 in a form that
// surveys read; its beginning shows which of them it is.
func (r *Reader) ReadAny(ctx context.Context, file string, in io.Reader) error {
	peeked := bufio.NewReaderSize(in, buffer)
	head, err := peeked.Peek(sniffed)
	if len(head) == 0 && err != nil && err != io.EOF {
		return fmt.Errorf("reading %s: %w", file, err)
	}
	if !isCapture(head) {
		return r.Read(ctx, file, peeked)
	}
	return r.readCapture(ctx, file, peeked)
}

// isCapture reports whether a file begins with frames, and not with sentences.
func isCapture(head []byte) bool {
	const most = 200
	n := 0
	for line := range bytes.Lines(head) {
		if n++; n > most {
			break
		}
		if at := bytes.IndexByte(line, '$'); at >= 0 && !bytes.HasPrefix(line, []byte(";")) {
			if _, _, w := sentence(line[at+1:]); w == isRight || w == isWrong {
				return false
			}
		}
		if text := string(line); len(line) < maxLine && (nmea2000.IsFrame(text) || nmea2000.IsHeading(text)) {
			return true
		}
	}
	return false
}

func (r *Reader) readCapture(ctx context.Context, file string, in io.Reader) error {
	r.log.Files = append(r.log.Files, file)
	n := network{r: r}
	read, err := nmea2000.Messages(ctx, file, in, fastGroups, n.message)
	c := &r.log.Counts
	c.Lines += read.Lines
	c.Sentences += read.Frames
	c.Nothing += read.Bad
	c.Long += read.Long
	return err
}

// network turns messages of NMEA 2000 into values of a log.
type network struct{ r *Reader }

// source finds a source by group and address: N2K-127250-35, and by bus, where
// there are several.
func (n *network) source(m nmea2000.Message, q Quantity) *Source {
	key := name{'#', byte(m.PGN >> 16), byte(m.PGN >> 8), byte(m.PGN), m.Source, byte(len(m.Bus)) ^ lastByte(m.Bus)}
	if q == True { // one group tells both headings
		key[0] = '%'
	}
	if s := n.r.byName[key]; s != nil {
		return s
	}
	if len(n.r.byName) == maxSources {
		n.r.log.Counts.LeftOut++
		return nil
	}
	called := fmt.Sprintf("N2K-%d-%d", m.PGN, m.Source)
	if q == True {
		called += "-true"
	}
	s := n.r.log.addSource(called, q)
	n.r.byName[key] = s
	return s
}

func lastByte(s string) byte {
	if s == "" {
		return 0
	}
	return s[len(s)-1]
}

// Values that mean "not available": all bits set, or all but the last.
func angle16(b []byte) (float64, bool) {
	v := binary.LittleEndian.Uint16(b)
	return float64(v) * 1e-4 * 180 / math.Pi, v < 0xFFFD
}

func signed16(b []byte) (float64, bool) {
	v := int16(binary.LittleEndian.Uint16(b))
	return float64(v) * 1e-4 * 180 / math.Pi, v < 0x7FFD
}

const knotsPerMetre = 3600.0 / 1852

func (n *network) message(m nmea2000.Message) {
	if !math.IsNaN(m.At) && m.At > 0 {
		n.r.stamp(m.At, m.At > 631152000) // 1990: else it is of the day, or of some start
	}
	const shortest = 8
	if len(m.Data) < shortest {
		n.r.log.Counts.Other++
		return
	}
	switch m.PGN {
	case pgnTime:
		n.time(m)
	case pgnHeading:
		n.heading(m)
	case pgnVariation:
		n.variation(m)
	case pgnGround:
		n.ground(m)
	case pgnPosition:
		n.position(m, m.Data, 1e-7)
	case pgnFix:
		n.fix(m)
	case pgnRate:
		n.rate(m)
	case pgnRudder:
		n.rudder(m)
	default:
		n.r.log.Counts.Other++
	}
}

// time: sequence, source, days since 1970, tenths of milliseconds since midnight.
func (n *network) time(m nmea2000.Message) {
	days, tenths := binary.LittleEndian.Uint16(m.Data[2:]), binary.LittleEndian.Uint32(m.Data[4:])
	if days >= 0xFFFD || tenths >= day*10000 {
		return
	}
	seconds := float64(tenths) / 1e4
	n.r.clock.timeOfDay(fmt.Sprintf("N2K-%d-%d", m.PGN, m.Source), seconds)
	if !n.r.dated {
		n.r.dated = true
		n.r.log.Date = time.Unix(int64(days)*day+int64(seconds), 0).UTC()
	}
}

// heading: sequence, heading, deviation, variation, true or magnetic.
func (n *network) heading(m nmea2000.Message) {
	if len(m.Data) < 8 {
		return
	}
	reference := m.Data[7] & 3
	q := Magnetic
	if reference == 0 {
		q = True
	}
	s := n.source(m, q)
	if s == nil {
		return
	}
	s.Count++
	heading, ok := angle16(m.Data[1:])
	deviation, hasDeviation := signed16(m.Data[3:])
	variation, hasVariation := signed16(m.Data[5:])
	switch {
	case reference > 1:
		s.Void++
		return
	case !ok:
		s.Empty++
		return
	case heading > 360.1:
		s.Bad++
		return
	case q == True || !hasDeviation:
		deviation = math.NaN()
	}
	if hasVariation && q == Magnetic {
		s.Variation.add(variation)
	}
	n.r.add(s, false, math.Mod(heading, 360), deviation)
}

// variation: sequence, source, age, variation.
func (n *network) variation(m nmea2000.Message) {
	if v, ok := signed16(m.Data[4:]); ok {
		if s := n.source(m, ""); s != nil {
			s.Count++
			s.Variation.add(v)
		}
	}
}

// ground: sequence, true or magnetic, course, centimetres a second.
func (n *network) ground(m nmea2000.Message) {
	s := n.source(m, Ground)
	if s == nil {
		return
	}
	s.Count++
	course, ok := angle16(m.Data[2:])
	speed := binary.LittleEndian.Uint16(m.Data[4:])
	switch {
	case m.Data[1]&3 != 0: // magnetic, or an error
		s.Void++
	case !ok || speed >= 0xFFFD:
		s.Empty++
	case course > 360.1 || float64(speed)/100*knotsPerMetre > fastest:
		s.Bad++
	default:
		n.r.add(s, false, math.Mod(course, 360), float64(speed)/100*knotsPerMetre)
	}
}

func (n *network) position(m nmea2000.Message, data []byte, unit float64) {
	s := n.source(m, Place)
	if s == nil {
		return
	}
	s.Count++
	lat, lon := int32(binary.LittleEndian.Uint32(data)), int32(binary.LittleEndian.Uint32(data[4:]))
	n.place(s, float64(lat)*unit, float64(lon)*unit, lat < 0x7FFFFFFD && lon < 0x7FFFFFFD)
}

func (n *network) place(s *Source, lat, lon float64, ok bool) {
	switch {
	case !ok:
		s.Empty++
	case math.Abs(lat) > 90 || math.Abs(lon) > 180:
		s.Bad++
	default:
		n.r.add(s, false, lat, lon)
	}
}

// fix: sequence, days, seconds, latitude and longitude in 64 bits, height, type
// and method: 1 to 5 are satellites.
func (n *network) fix(m nmea2000.Message) {
	const methodAt = 31
	if len(m.Data) <= methodAt {
		return
	}
	s := n.source(m, Place)
	if s == nil {
		return
	}
	s.Count++
	if method := m.Data[methodAt] >> 4; method < 1 || method > 5 {
		s.Void++
		return
	}
	lat, lon := int64(binary.LittleEndian.Uint64(m.Data[7:])), int64(binary.LittleEndian.Uint64(m.Data[15:]))
	n.place(s, float64(lat)*1e-16, float64(lon)*1e-16, lat < math.MaxInt64-2 && lon < math.MaxInt64-2)
}

// rate: sequence, rate of turn.
func (n *network) rate(m nmea2000.Message) {
	s := n.source(m, Rate)
	if s == nil {
		return
	}
	s.Count++
	v := int32(binary.LittleEndian.Uint32(m.Data[1:]))
	if v >= 0x7FFFFFFD {
		s.Empty++
		return
	}
	n.r.add(s, false, float64(v)*3.125e-8*180/math.Pi, 0)
}

// rudder: instance, order, angle ordered, angle.
func (n *network) rudder(m nmea2000.Message) {
	s := n.source(m, Rudder)
	if s == nil {
		return
	}
	s.Count++
	v, ok := signed16(m.Data[4:])
	switch {
	case !ok:
		s.Empty++
	case math.Abs(v) > 90:
		s.Bad++
	default:
		n.r.add(s, false, v, math.NaN())
	}
}
