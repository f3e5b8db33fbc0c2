// Package wmm gives the magnetic variation at a place and a time by the World
// Magnetic Model 2025 (NOAA NCEI and British Geological Survey; the coefficients
// are in the public domain). Outside the model's years, and near the poles where
// the variation means little, it gives an error and no number.
package wmm

import (
	"bufio"
	_ "embed"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

//go:embed WMM2025.COF
var coefficients string

// Name is the model's, as it is printed next to its values.
const Name = "World Magnetic Model 2025"

// Years between which the model holds, and the horizontal field, in nanotesla,
// below which a compass and the model are of no use (the model's own zone in
// which it mustn't be relied on).
const (
	firstYear     = 2025.0
	lastYear      = 2030.0
	leastField    = 2000.0
	degree        = 12
	epoch         = 2025.0
	meanRadius    = 6371.2   // km, of the model
	equatorRadius = 6378.137 // km, WGS 84
	flattening    = 1 / 298.257223563
)

// Why the model gives no variation.
var (
	errYear  = errors.New("the model holds from 2025 to the end of 2029")
	errField = errors.New("too near a magnetic pole: the horizontal field is under 2000 nT")
	errPlace = errors.New("no such position")
)

// field is the Earth's field at a place: its parts towards north, east and
// down, in nanotesla.
type field struct{ North, East, Down float64 }

// horizontal is the part that turns a compass, in nanotesla.
func (f field) horizontal() float64 { return math.Hypot(f.North, f.East) }

// variation is how far magnetic north lies east of true north, in degrees.
func (f field) variation() float64 { return math.Atan2(f.East, f.North) * 180 / math.Pi }

// Variation at a position (degrees, north and east positive) at sea level, in
// degrees, east positive.
func Variation(latitude, longitude float64, at time.Time) (float64, error) {
	year := yearOf(at)
	if year < firstYear || year >= lastYear {
		return 0, fmt.Errorf("%w, and the log is from %d", errYear, at.UTC().Year())
	}
	if !(math.Abs(latitude) <= 90 && math.Abs(longitude) <= 360) {
		return 0, errPlace
	}
	f := fieldAt(latitude, longitude, 0, year)
	if f.horizontal() < leastField {
		return 0, errField
	}
	return f.variation(), nil
}

// yearOf is a moment in years with their fraction.
func yearOf(at time.Time) float64 {
	at = at.UTC()
	from := time.Date(at.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	to := from.AddDate(1, 0, 0)
	return float64(at.Year()) + float64(at.Sub(from))/float64(to.Sub(from))
}

// fieldAt is the field at a geodetic position (degrees), a height in kilometres and
// a year with its fraction. The method is that of the model's technical report
// (NOAA NCEI, The US/UK World Magnetic Model for 2025-2030, §1.2), with
// Schmidt's semi-normalised functions by recursion.
func fieldAt(latitude, longitude, height, year float64) field {
	const e2 = flattening * (2 - flattening)
	lat, lon := latitude*math.Pi/180, longitude*math.Pi/180
	across := equatorRadius / math.Sqrt(1-e2*math.Sin(lat)*math.Sin(lat))
	p := (across + height) * math.Cos(lat)
	z := (across*(1-e2) + height) * math.Sin(lat)
	r := math.Hypot(p, z)
	geocentric := math.Asin(z / r)
	f := spherical(geocentric, lon, r, year-epoch)
	turn := geocentric - lat
	return field{
		North: f.North*math.Cos(turn) - f.Down*math.Sin(turn),
		East:  f.East,
		Down:  f.North*math.Sin(turn) + f.Down*math.Cos(turn),
	}
}

// spherical is the field in the frame of a sphere; lat and lon in radians, r in
// kilometres.
func spherical(lat, lon, r, years float64) field {
	sin, cos := math.Sin(lat), math.Cos(lat)
	cos = max(cos, 1e-10) // at a pole the longitude has no meaning
	value, slope := legendre(sin, cos)
	var f field
	ratio := meanRadius / r
	power := ratio * ratio
	for n := 1; n <= degree; n++ {
		power *= ratio
		for m := 0; m <= n; m++ {
			k := model[n][m]
			g, h := k.g+years*k.gRate, k.h+years*k.hRate
			along, across := g*math.Cos(float64(m)*lon)+h*math.Sin(float64(m)*lon), g*math.Sin(float64(m)*lon)-h*math.Cos(float64(m)*lon)
			f.North -= power * along * slope[n][m]
			f.East += power * float64(m) * across * value[n][m] / cos
			f.Down -= power * float64(n+1) * along * value[n][m]
		}
	}
	return f
}

type table [degree + 1][degree + 1]float64

// legendre gives Schmidt's semi-normalised functions of the sine of the
// latitude, and their slopes by the latitude.
func legendre(sin, cos float64) (value, slope *table) {
	value, slope = new(table), new(table)
	value[0][0] = 1
	for n := 1; n <= degree; n++ {
		for m := 0; m <= n; m++ {
			N, M := float64(n), float64(m)
			switch {
			case n == m && n == 1:
				value[1][1], slope[1][1] = cos, -sin
			case n == m:
				k := math.Sqrt((2*N - 1) / (2 * N))
				value[n][n] = k * cos * value[n-1][n-1]
				slope[n][n] = k * (cos*slope[n-1][n-1] - sin*value[n-1][n-1])
			default:
				k := math.Sqrt(N*N - M*M)
				before, beforeSlope := 0.0, 0.0
				if n > 1 {
					j := math.Sqrt((N-1)*(N-1) - M*M)
					before, beforeSlope = j*value[n-2][m], j*slope[n-2][m]
				}
				value[n][m] = ((2*N-1)*sin*value[n-1][m] - before) / k
				slope[n][m] = ((2*N-1)*(sin*slope[n-1][m]+cos*value[n-1][m]) - beforeSlope) / k
			}
		}
	}
	return value, slope
}

type coefficient struct{ g, h, gRate, hRate float64 }

var model = read(coefficients)

// read takes the coefficients as they are published: degree, order, g, h and
// their changes a year, in nanotesla.
func read(text string) (all [degree + 1][degree + 1]coefficient) {
	lines := bufio.NewScanner(strings.NewReader(text))
	lines.Scan() // the heading
	for lines.Scan() {
		var n, m int
		var k coefficient
		if _, err := fmt.Sscan(lines.Text(), &n, &m, &k.g, &k.h, &k.gRate, &k.hRate); err != nil || n > degree {
			break // the rows of nines at the end
		}
		all[n][m] = k
	}
	return all
}
