package simulate

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"time"
)

// Boat is a boat with a compass whose deviation is known, in a current, with
// wind. Angles are in degrees, speeds in knots.
type Boat struct {
	Deviation [5]float64 // A to E of the compass
	Lag       float64    // seconds that the compass is behind
	Variation float64    // of the place, east positive
	Speed     float64    // through the water
	Current   [2]float64 // east, north
	Leeway    float64    // greatest, knots sideways
	WindFrom  float64    // direction, degrees
	Latitude  float64
	Longitude float64
	Start     time.Time

	Seed       uint64
	HeadNoise  float64 // deviation of one reading, degrees
	HeadMemory float64 // correlation of neighbouring readings
	Yaw        float64 // of the boat about her course, degrees
	SpeedNoise float64 // knots, of each part of the velocity

	Reference bool    // a satellite compass is aboard
	NoHDGVar  bool    // HDG has no variation
	NoRMC     bool    // no position, course and speed
	Rudder    float64 // carried to starboard, degrees; NaN: no rudder sentences
	Weave     float64 // degrees about the course, as a pilot steers
	Period    float64 // of it, seconds

	DropEvery int // every so many seconds the compass says nothing; 0: never
	JumpAt    int // second at which the clock jumps; 0: never
	JumpBy    int // seconds
	Stamped   bool
}

// Move is one part of a run: straight on a compass heading, or a turn.
type Move struct {
	Compass float64 // to hold
	Seconds int
	Turn    float64 // degrees to turn, to starboard positive; Seconds is not used
	Rate    float64 // degrees a second
}

// Legs are moves along compass headings, each held for some seconds.
func Legs(seconds int, headings ...float64) (moves []Move) {
	for _, h := range headings {
		moves = append(moves, Move{Compass: h, Seconds: seconds})
	}
	return moves
}

// Points are the eight points of the compass, as often as said: first all of
// them, then all again.
func Points(times int) (all []float64) {
	for i := range 8 * times {
		all = append(all, float64(45*(i%8)))
	}
	return all
}

// usualRate is how fast the boat turns between legs, degrees a second.
const usualRate = 4

// sailing is a boat under way.
type sailing struct {
	boat        Boat
	out         *bufio.Writer
	noise       *Random
	second      int
	heading     float64 // true
	past        []float64
	head        float64 // noise that remembers
	lat, lon    float64
	rate        float64
	clockOffset int
}

// Write writes the log of a run.
func (b Boat) Write(w io.Writer, moves []Move) error {
	s := sailing{boat: b, out: bufio.NewWriter(w), noise: Seeded(b.Seed), lat: b.Latitude, lon: b.Longitude}
	for i, m := range moves {
		if m.Turn != 0 {
			s.turn(m.Turn, m.Rate)
			continue
		}
		to := b.trueHeading(m.Compass)
		if i == 0 {
			s.heading = to
		}
		s.turn(wrap180(to-s.heading), usualRate)
		s.heading = to
		for range m.Seconds {
			s.sail(s.heading)
		}
	}
	return s.out.Flush()
}

func (s *sailing) turn(degrees, rate float64) {
	side := math.Copysign(1, degrees)
	from := s.heading
	for i := 1; float64(i)*rate < math.Abs(degrees); i++ {
		s.rate = side * rate
		s.sail(from + side*rate*float64(i))
	}
	s.rate = 0
	s.heading = from + degrees
}

// deviation of the compass at a reading.
func (b Boat) deviation(theta float64) float64 {
	r := theta * math.Pi / 180
	d := b.Deviation
	return d[0] + d[1]*math.Sin(r) + d[2]*math.Cos(r) + d[3]*math.Sin(2*r) + d[4]*math.Cos(2*r)
}

// trueHeading is the true heading at a compass reading.
func (b Boat) trueHeading(theta float64) float64 { return theta + b.deviation(theta) + b.Variation }

// reading of the compass on a true heading.
func (b Boat) reading(psi float64) float64 {
	const steps = 30
	theta := psi - b.Variation
	for range steps {
		theta = psi - b.Variation - b.deviation(theta)
	}
	return theta
}

// sail goes on for one second on a heading.
func (s *sailing) sail(psi float64) {
	b := s.boat
	if b.Period > 0 {
		psi += b.Weave * math.Sin(2*math.Pi*float64(s.second)/b.Period)
	}
	psi += b.Yaw * s.noise.Normal()
	s.past = append(s.past, psi)
	s.head = b.HeadMemory*s.head + math.Sqrt(1-b.HeadMemory*b.HeadMemory)*b.HeadNoise*s.noise.Normal()
	theta := b.reading(psi-s.rate*b.Lag) + s.head
	r := psi * math.Pi / 180
	side := b.Leeway * math.Sin((b.WindFrom-psi)*math.Pi/180)
	east := b.Speed*math.Sin(r) + b.Current[0] - side*math.Cos(r) + b.SpeedNoise*s.noise.Normal()
	north := b.Speed*math.Cos(r) + b.Current[1] + side*math.Sin(r) + b.SpeedNoise*s.noise.Normal()
	s.lat += north / 3600 / 60
	s.lon += east / 3600 / 60 / math.Cos(s.lat*math.Pi/180)
	s.write(psi, theta, east, north)
	s.second++
}

// write writes what the instruments say in this second.
func (s *sailing) write(psi, theta, east, north float64) {
	b := s.boat
	if b.JumpAt > 0 && s.second == b.JumpAt {
		s.clockOffset = b.JumpBy
	}
	at := b.Start.Add(time.Duration(s.second+s.clockOffset) * time.Second)
	if !b.NoRMC {
		course := wrap360(math.Atan2(east, north) * 180 / math.Pi)
		s.line(at, fmt.Sprintf("GPRMC,%s.00,A,%s,%s,%.2f,%.2f,%s,,,A",
			at.Format("150405"), degrees(s.lat, 2, "N", "S"), degrees(s.lon, 3, "E", "W"), math.Hypot(east, north), course, at.Format("020106")))
	} else {
		s.line(at, fmt.Sprintf("GPZDA,%s.00,%s,00,00", at.Format("150405"), at.Format("02,01,2006")))
	}
	if b.DropEvery == 0 || s.second%b.DropEvery != 0 {
		variation := ","
		if !b.NoHDGVar {
			variation = fmt.Sprintf("%.1f,%s", math.Abs(b.Variation), map[bool]string{true: "W", false: "E"}[b.Variation < 0])
		}
		s.line(at, fmt.Sprintf("HCHDG,%.2f,,,%s", wrap360(theta), variation))
	}
	if b.Reference {
		s.line(at, fmt.Sprintf("GPHDT,%.2f,T", wrap360(psi)))
	}
	if !math.IsNaN(b.Rudder) {
		s.line(at, fmt.Sprintf("ERRSA,%.1f,A,,", b.Rudder+0.6*s.noise.Normal()))
	}
}

// line writes a sentence with its checksum.
func (s *sailing) line(at time.Time, body string) {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	if s.boat.Stamped {
		fmt.Fprintf(s.out, "%s ", at.Format("2006-01-02T15:04:05.000Z"))
	}
	fmt.Fprintf(s.out, "$%s*%02X\r\n", body, sum)
}

// degrees writes a latitude or longitude as sentences do.
func degrees(v float64, digits int, plus, minus string) string {
	side := plus
	if v < 0 {
		side, v = minus, -v
	}
	whole := math.Floor(v)
	return fmt.Sprintf("%0*d%07.4f,%s", digits, int(whole), min(60*(v-whole), 59.9999), side)
}

func wrap360(a float64) float64 {
	a = math.Mod(math.Mod(a, 360)+360, 360)
	if a >= 359.995 { // which would be written as 360.00
		return 0
	}
	return a
}

func wrap180(a float64) float64 {
	a = math.Mod(math.Mod(a, 360)+360, 360)
	if a > 180 {
		a -= 360
	}
	return a
}
