package sentences

import "math"

// field is one field of a sentence. An empty field is a value of its own: it
// says that there is no value.
type field []byte

// state is what became of a field.
type state int

const (
	hasValue state = iota
	isEmpty
	isBad
)

// number reads a decimal number as sentences write them: digits with a point, a
// sign before them, nothing else.
func (f field) number() (float64, state) {
	const mostDigits = 15
	digits, after := 0, -1
	value, negative := 0.0, false
	if len(f) == 0 {
		return 0, isEmpty
	}
	for i, c := range f {
		switch {
		case c >= '0' && c <= '9' && digits < mostDigits:
			value = value*10 + float64(c-'0')
			digits++
			if after >= 0 {
				after++
			}
		case c == '.' && after < 0:
			after = 0
		case (c == '-' || c == '+') && i == 0:
			negative = c == '-'
		default:
			return 0, isBad
		}
	}
	if digits == 0 {
		return 0, isBad
	}
	if after > 0 {
		value /= powers[after]
	}
	if negative {
		value = -value
	}
	return value, hasValue
}

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// within reads a number that lies within bounds.
func (f field) within(least, most float64) (float64, state) {
	v, s := f.number()
	if s == hasValue && (v < least || v > most) {
		return 0, isBad
	}
	return v, s
}

// angle reads an angle from north.
func (f field) angle() (float64, state) {
	v, s := f.within(0, 360)
	if v == 360 {
		v = 0
	}
	return v, s
}

func (f field) is(letter byte) bool { return len(f) == 1 && f[0] == letter }

// eastward reads a number with its direction, east positive. One without a
// direction has no value, but for 0.
func eastward(value, direction field, most float64) (float64, state) {
	v, s := value.within(-most, most)
	switch {
	case s != hasValue:
		return math.NaN(), s
	case direction.is('E'), v == 0:
		return v, s
	case direction.is('W'):
		return -v, s
	case len(direction) == 0:
		return math.NaN(), isEmpty
	}
	return math.NaN(), isBad
}

// degrees reads a latitude or longitude: dddmm.mmm with its side.
func degrees(value, side field, plus, minus byte, most float64) (float64, state) {
	v, s := value.within(0, 18000)
	if s != hasValue {
		return 0, s
	}
	whole := math.Floor(v / 100)
	minutes := v - 100*whole
	v = whole + minutes/60
	switch {
	case minutes >= 60 || v > most:
		return 0, isBad
	case side.is(plus):
		return v, hasValue
	case side.is(minus):
		return -v, hasValue
	case len(side) == 0:
		return 0, isEmpty
	}
	return 0, isBad
}

// secondsOfDay reads hhmmss.sss.
func (f field) secondsOfDay() (float64, state) {
	if len(f) == 0 {
		return 0, isEmpty
	}
	if len(f) < 6 {
		return 0, isBad
	}
	v, s := f.within(0, 240000)
	if s != hasValue {
		return 0, s
	}
	whole := math.Floor(v)
	hours, minutes, seconds := math.Floor(whole/1e4), math.Mod(math.Floor(whole/100), 100), math.Mod(whole, 100)
	if hours > 23 || minutes > 59 || seconds > 60 {
		return 0, isBad
	}
	return 3600*hours + 60*minutes + seconds + v - whole, hasValue
}
