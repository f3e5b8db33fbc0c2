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
	if len(f) == 0 {
		return 0, isEmpty
	}
	digits, point := f, -1
	negative := false
	if digits[0] == '-' || digits[0] == '+' {
		negative = digits[0] == '-'
		digits = digits[1:]
	}
	if len(digits) > mostDigits+1 {
		return 0, isBad
	}
	var whole int64
	for i, c := range digits {
		switch {
		case c >= '0' && c <= '9':
			whole = whole*10 + int64(c-'0')
		case c == '.' && point < 0:
			point = i
		default:
			return 0, isBad
		}
	}
	value := float64(whole)
	switch {
	case point < 0 && (len(digits) == 0 || len(digits) > mostDigits), point >= 0 && len(digits) == 1:
		return 0, isBad
	case point >= 0:
		value /= powers[len(digits)-point-1]
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
	if len(value) == 0 {
		return math.NaN(), isEmpty
	}
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
	if len(f) < 6 || len(f) > 6 && f[6] != '.' {
		return 0, isBad
	}
	var pairs [3]int
	for i := range pairs {
		a, b := f[2*i]-'0', f[2*i+1]-'0'
		if a > 9 || b > 9 {
			return 0, isBad
		}
		pairs[i] = 10*int(a) + int(b)
	}
	if pairs[0] > 23 || pairs[1] > 59 || pairs[2] > 60 {
		return 0, isBad
	}
	part := 0.0
	if len(f) > 7 {
		v, s := f[6:].number()
		if s != hasValue {
			return 0, isBad
		}
		part = v
	}
	return float64(3600*pairs[0]+60*pairs[1]+pairs[2]) + part, hasValue
}
