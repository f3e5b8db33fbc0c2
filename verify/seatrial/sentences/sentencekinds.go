package sentences

import (
	"bytes"
	"math"
	"time"
)

// knotsPerKilometre turns km/h into knots.
const knotsPerKilometre = 1 / 1.852

// fastest is the greatest speed that is believed, in knots.
const fastest = 150

// kinds are the sentences that are read, by the three letters behind the talker.
var kinds = [...]struct {
	letters  string
	quantity Quantity
	read     func(r *Reader, s *Source, f *fields)
}{
	{"HDG", Magnetic, (*Reader).hdg},
	{"HDM", Magnetic, (*Reader).hdm},
	{"HDT", True, (*Reader).hdt},
	{"THS", True, (*Reader).ths},
	{"VTG", Ground, (*Reader).vtg},
	{"RMC", Ground, (*Reader).rmc},
	{"GGA", Place, (*Reader).gga},
	{"GNS", Place, (*Reader).gns},
	{"GLL", Place, (*Reader).gll},
	{"ZDA", "", (*Reader).zda},
	{"ROT", Rate, (*Reader).rot},
	{"RSA", Rudder, (*Reader).rsa},
}

const kindCount = 12

// kindOf finds a kind by the letters; -1 where it isn't read.
func kindOf(a, b, c byte) int {
	switch {
	case a == 'H' && b == 'D' && c == 'G':
		return 0
	case a == 'H' && b == 'D' && c == 'M':
		return 1
	case a == 'H' && b == 'D' && c == 'T':
		return 2
	case a != 'T' && a != 'V' && a != 'R' && a != 'G' && a != 'Z':
		return -1
	}
	for i := 3; i < len(kinds); i++ {
		if k := kinds[i].letters; k[0] == a && k[1] == b && k[2] == c {
			return i
		}
	}
	return -1
}

// fields gives the fields of a sentence one after the other; behind the last
// there are empty ones.
type fields struct {
	body []byte
	at   int // of the next
}

func (f *fields) next() field {
	if f.at > len(f.body) {
		return nil
	}
	rest := f.body[f.at:]
	for i, c := range rest { // fields are short
		if c == ',' {
			f.at += i + 1
			return rest[:i]
		}
	}
	f.at = len(f.body) + 1
	return rest
}

func (f *fields) skip(n int) {
	for range n {
		f.next()
	}
}

// addressLength is that of talker and sentence: HCHDG.
const addressLength = 5

// sentence reads what is between $ and *.
func (r *Reader) sentence(body []byte) {
	if len(body) < addressLength || body[0] == 'P' || len(body) > addressLength && body[addressLength] != ',' {
		r.log.Counts.Other++
		return
	}
	i := kindOf(body[2], body[3], body[4])
	if i < 0 {
		r.log.Counts.Other++
		return
	}
	kind := &kinds[i]
	s := r.recent[i]
	if s == nil || s.Name[0] != body[0] || s.Name[1] != body[1] {
		if s = r.source(body[:addressLength], kind.quantity); s == nil {
			r.log.Counts.LeftOut++
			return
		}
		r.recent[i] = s
	}
	s.Count++
	r.fields = fields{body, addressLength + 1}
	kind.read(r, s, &r.fields)
}

// source finds a source by its name, or begins one; nil where there are too many.
func (r *Reader) source(address []byte, q Quantity) *Source {
	var key name
	copy(key[:], address)
	if s := r.byName[key]; s != nil {
		return s
	}
	for _, c := range address {
		if c < '0' || c > 'Z' || c > '9' && c < 'A' {
			return nil
		}
	}
	if len(r.byName) == maxSources {
		return nil
	}
	s := r.log.addSource(string(address), q)
	r.byName[key] = s
	return s
}

// place is the source of positions of a sentence that tells something else too.
func (r *Reader) place(s *Source) *Source {
	if p := r.where[s]; p != nil {
		return p
	}
	p := r.log.addSource(s.Name, Place)
	r.where[s] = p
	return p
}

// add keeps a value; timed says that its sentence gave its time, which the clock has.
func (r *Reader) add(s *Source, timed bool, a, b float64) {
	if r.samples == maxSamples {
		r.log.Counts.LeftOut++
		return
	}
	r.samples++
	x := Sample{T: math.NaN(), A: float32(a), B: float32(b)}
	timed = (timed || r.clock.stamped) && !math.IsNaN(r.clock.now)
	if timed {
		x.T = r.clock.now
	}
	s.Samples = append(s.Samples, x)
	if !timed {
		r.clock.wait(s)
	}
}

// tally counts a value that is empty or bad; true where every field has a value.
func (s *Source) tally(states ...state) bool {
	for _, st := range states {
		switch st {
		case isEmpty:
			s.Empty++
			return false
		case isBad:
			s.Bad++
			return false
		case hasValue:
		}
	}
	return true
}

// mostDeviation and mostVariation are the greatest that are believed.
const (
	mostDeviation = 90
	mostVariation = 180
)

// hdg: heading, deviation, E or W, variation, E or W.
func (r *Reader) hdg(s *Source, f *fields) {
	heading, state := f.next().angle()
	deviation, dstate := eastward(f.next(), f.next(), mostDeviation)
	variation, vstate := eastward(f.next(), f.next(), mostVariation)
	if dstate == isEmpty {
		dstate = hasValue
	}
	if !s.tally(state, dstate) {
		return
	}
	if vstate == hasValue {
		s.Variation.add(variation)
	}
	r.add(s, false, heading, deviation)
}

// hdm: heading, M.
func (r *Reader) hdm(s *Source, f *fields) {
	heading, state := f.next().angle()
	if s.tally(state) {
		r.add(s, false, heading, math.NaN())
	}
}

// hdt: heading, T.
func (r *Reader) hdt(s *Source, f *fields) {
	heading, state := f.next().angle()
	if s.tally(state) {
		r.add(s, false, heading, 0)
	}
}

// ths: heading, mode.
func (r *Reader) ths(s *Source, f *fields) {
	heading, state := f.next().angle()
	if mode := f.next(); len(mode) > 0 && !mode.is('A') {
		s.Void++
		return
	}
	if s.tally(state) {
		r.add(s, false, heading, 0)
	}
}

// void modes: not valid, estimated, manual, simulated.
func (f field) voidMode() bool { return len(f) > 0 && bytes.IndexByte([]byte("NEMSV"), f[0]) >= 0 }

// vtg: course, T, course, M, knots, N, km/h, K, mode.
func (r *Reader) vtg(s *Source, f *fields) {
	course, cstate := f.next().angle()
	letter := f.next()
	f.skip(2)
	speed, sstate := f.next().within(0, fastest)
	f.next()
	if kilometres, kstate := f.next().within(0, fastest/knotsPerKilometre); sstate == isEmpty {
		speed, sstate = kilometres*knotsPerKilometre, kstate
	}
	f.next()
	switch {
	case f.next().voidMode():
		s.Void++
	case len(letter) > 0 && !letter.is('T'):
		s.Bad++
	case s.tally(cstate, sstate):
		r.add(s, false, course, speed)
	}
}

// rmc: time, status, latitude, N or S, longitude, E or W, knots, course, date,
// variation, E or W, mode, status of navigation.
func (r *Reader) rmc(s *Source, f *fields) {
	at, tstate := f.next().secondsOfDay()
	status := f.next()
	lat, nstate := degrees(f.next(), f.next(), 'N', 'S', 90)
	lon, estate := degrees(f.next(), f.next(), 'E', 'W', 180)
	speed, sstate := f.next().within(0, fastest)
	course, cstate := f.next().angle()
	date := f.next()
	variation, vstate := eastward(f.next(), f.next(), mostVariation)
	mode := f.next()
	if tstate == hasValue {
		r.clock.timeOfDay(s.Name, at)
	}
	if !status.is('A') || mode.voidMode() {
		s.Void++
		return
	}
	if len(date) == 6 {
		r.date(date[0:2], date[2:4], date[4:6], at)
	}
	timed := tstate == hasValue && r.clock.source == s.Name
	if vstate == hasValue {
		s.Variation.add(variation)
	}
	if p := r.place(s); nstate == hasValue && estate == hasValue {
		p.Count++
		r.add(p, timed, lat, lon)
	}
	if s.tally(sstate, cstate) {
		r.add(s, timed, course, speed)
	}
}

// date takes a day, once.
func (r *Reader) date(d, m, y field, seconds float64) {
	if r.dated {
		return
	}
	dd, ds := d.within(1, 31)
	mm, ms := m.within(1, 12)
	yy, ys := y.within(0, 9999)
	if ds != hasValue || ms != hasValue || ys != hasValue {
		return
	}
	if yy < 100 { // two digits; satellite time began in 1980
		yy += 2000
		if yy >= 2080 {
			yy -= 100
		}
	}
	r.dated = true
	r.log.Date = time.Date(int(yy), time.Month(mm), int(dd), 0, 0, int(seconds), 0, time.UTC)
}

// gga: time, latitude, N or S, longitude, E or W, quality: 0 none, 6 estimated,
// 7 manual, 8 simulated.
func (r *Reader) gga(s *Source, f *fields) {
	at, tstate := f.next().secondsOfDay()
	lat, nstate := degrees(f.next(), f.next(), 'N', 'S', 90)
	lon, estate := degrees(f.next(), f.next(), 'E', 'W', 180)
	quality := f.next()
	if tstate == hasValue {
		r.clock.timeOfDay(s.Name, at)
	}
	switch {
	case len(quality) != 1 || bytes.IndexByte([]byte("123459"), quality[0]) < 0:
		s.Void++
	case s.tally(nstate, estate):
		r.add(s, tstate == hasValue && r.clock.source == s.Name, lat, lon)
	}
}

// gns: time, latitude, N or S, longitude, E or W, a mode for each system.
func (r *Reader) gns(s *Source, f *fields) {
	at, tstate := f.next().secondsOfDay()
	lat, nstate := degrees(f.next(), f.next(), 'N', 'S', 90)
	lon, estate := degrees(f.next(), f.next(), 'E', 'W', 180)
	modes := f.next()
	if tstate == hasValue {
		r.clock.timeOfDay(s.Name, at)
	}
	switch {
	case bytes.ContainsAny(modes, "EMS") || !bytes.ContainsAny(modes, "ADPRF"):
		s.Void++
	case s.tally(nstate, estate):
		r.add(s, tstate == hasValue && r.clock.source == s.Name, lat, lon)
	}
}

// gll: latitude, N or S, longitude, E or W, time, status, mode.
func (r *Reader) gll(s *Source, f *fields) {
	lat, nstate := degrees(f.next(), f.next(), 'N', 'S', 90)
	lon, estate := degrees(f.next(), f.next(), 'E', 'W', 180)
	at, tstate := f.next().secondsOfDay()
	status, mode := f.next(), f.next()
	if tstate == hasValue {
		r.clock.timeOfDay(s.Name, at)
	}
	switch {
	case len(status) > 0 && !status.is('A'), mode.voidMode():
		s.Void++
	case s.tally(nstate, estate):
		r.add(s, tstate == hasValue && r.clock.source == s.Name, lat, lon)
	}
}

// zda: time, day, month, year.
func (r *Reader) zda(s *Source, f *fields) {
	at, tstate := f.next().secondsOfDay()
	d, m, y := f.next(), f.next(), f.next()
	if !s.tally(tstate) {
		return
	}
	r.clock.timeOfDay(s.Name, at)
	r.date(d, m, y, at)
}

// rot: degrees a minute, status.
func (r *Reader) rot(s *Source, f *fields) {
	const most = 10000
	rate, state := f.next().within(-most, most)
	if !f.next().is('A') {
		s.Void++
		return
	}
	if s.tally(state) {
		r.add(s, false, rate/60, 0)
	}
}

// rsa: starboard or only rudder, status, port rudder, status.
func (r *Reader) rsa(s *Source, f *fields) {
	starboard, state := f.next().within(-90, 90)
	valid := f.next()
	port, pstate := f.next().within(-90, 90)
	if pvalid := f.next(); pstate != hasValue || !pvalid.is('A') {
		port = math.NaN()
	}
	if !valid.is('A') {
		s.Void++
		return
	}
	if s.tally(state) {
		r.add(s, false, starboard, port)
	}
}
