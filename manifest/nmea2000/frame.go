package nmea2000

import (
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"strings"
)

// frame is one CAN frame, or one whole message where the capture has joined
// its frames already.
type frame struct {
	bus    string
	at     float64 // seconds; NaN where the capture doesn't say
	pgn    uint32
	source uint8
	data   []byte
}

const maxFrame = 8 // bytes of a CAN frame

// PGNs that say which devices there are.
const (
	pgnAddressClaim = 60928
	pgnProduct      = 126996
)

// fromID takes a 29-bit identifier apart.
func (f *frame) fromID(id uint32) {
	f.source = uint8(id)
	f.pgn = id >> 8 & 0x3FFFF
	if id>>16&0xFF < 240 { // PDU1: what follows is the destination
		f.pgn &^= 0xFF
	}
}

// kind is what became of a line.
type kind int

const (
	isFrame kind = iota
	isOther      // not used here: comments, 11-bit and remote frames, errors of the bus
	isBad        // not to be understood
)

// parseFrame reads one line of a capture; table is that of a CSV capture's
// heading line, or nil.
func parseFrame(line string, table *columns) (frame, kind) {
	line = strings.TrimSpace(line)
	switch {
	case line == "" || line[0] == '#' || line[0] == ';': // ; in traces
		return frame{}, isOther
	case table != nil:
		return table.frame(line)
	case strings.Contains(line, ",") && !strings.HasPrefix(line, "("):
		return parsePlain(line)
	}
	return parseWords(line)
}

// parseWords reads a line of words: of candump's log, (1.5) can0 09F20100#0011, of its
// screen, can0 09F20100 [2] 00 11, with or without a time before it, or of the forms in
// forms.go.
func parseWords(line string) (frame, kind) {
	f := frame{at: math.NaN()}
	if strings.HasPrefix(line, "(") {
		stamp, rest, ok := strings.Cut(line[1:], ")")
		if !ok {
			return f, isBad
		}
		f.at, line = seconds(stamp), rest
	}
	words := strings.Fields(line)
	for _, form := range []func([]string) (frame, kind, bool){parseTimed, parseMessage, parseTrace} {
		if one, what, ok := form(words); ok {
			return one, what
		}
	}
	if n := slices.IndexFunc(words, func(w string) bool { return strings.Contains(w, "#") }); n >= 0 {
		f.bus = strings.Join(words[:n], " ")
		return f.candumpLog(words[n])
	}
	n := slices.IndexFunc(words, func(w string) bool {
		return len(w) == 3 && w[0] == '[' && w[2] == ']' || len(w) == 4 && w[0] == '[' && w[3] == ']'
	})
	if n < 1 {
		return f, isBad
	}
	f.bus = words[0]
	if n == 1 {
		f.bus = ""
	}
	return f.candumpScreen(words[n-1], words[n], words[n+1:])
}

// candumpLog reads ID#DATA.
func (f frame) candumpLog(text string) (frame, kind) {
	id, data, _ := strings.Cut(text, "#")
	switch {
	case strings.HasPrefix(data, "#"), strings.HasPrefix(data, "R"), strings.HasPrefix(data, "r"):
		return f, isOther // CAN FD and remote frames
	}
	if i := strings.IndexByte(data, '_'); i >= 0 { // the raw length code of newer logs
		data = data[:i]
	}
	return f.withHex(id, strings.ReplaceAll(data, ".", ""), -1)
}

// candumpScreen reads ID [N] BYTES; text may follow.
func (f frame) candumpScreen(id, length string, words []string) (frame, kind) {
	n, err := strconv.Atoi(strings.Trim(length, "[]"))
	if err != nil || n > maxFrame {
		return f, isOther // CAN FD
	}
	if len(words) > 0 && words[0] == "remote" {
		return f, isOther
	}
	if len(words) < n {
		return f, isBad
	}
	return f.withHex(strings.Trim(id, "<>"), strings.Join(words[:n], ""), n)
}

// withHex is the frame with an identifier and data in hex; length is how many bytes
// there should be, -1 where that isn't said.
func (f frame) withHex(id, data string, length int) (frame, kind) {
	id = strings.TrimPrefix(strings.TrimPrefix(id, "0x"), "0X")
	number, err := strconv.ParseUint(id, 16, 32)
	bytes, derr := hex.DecodeString(data)
	switch {
	case err != nil || derr != nil || len(bytes) > maxFrame || length >= 0 && len(bytes) != length:
		return f, isBad
	case len(id) != 8 || number > 0x1FFFFFFF:
		return f, isOther // an 11-bit frame, or an error of the bus
	}
	f.fromID(uint32(number))
	f.data = bytes
	return f, isFrame
}

// seconds reads a time in seconds; NaN says that there is none to read.
func seconds(text string) float64 {
	s, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsInf(s, 0) {
		return math.NaN()
	}
	return s
}

// parsePlain reads a line of the plain form that canboat's tools write: time,
// priority, PGN, source, destination, length, and the bytes in hex. Frames of
// one message may be joined already.
func parsePlain(line string) (frame, kind) {
	f := frame{at: math.NaN()}
	cells := strings.Split(line, ",")
	if len(cells) < 7 {
		return f, isBad
	}
	var numbers [5]uint64
	for i := range numbers {
		n, err := strconv.ParseUint(strings.TrimSpace(cells[i+1]), 10, 32)
		if err != nil {
			return f, isBad
		}
		numbers[i] = n
	}
	pgn, source, length := numbers[1], numbers[2], numbers[4]
	data, err := hex.DecodeString(strings.Join(cells[6:], ""))
	switch {
	case err != nil || source > 255 || length > maxFast || uint64(len(data)) < length:
		return f, isBad
	case pgn > lastPGN:
		return f, isOther
	}
	f.pgn, f.source, f.data = uint32(pgn), uint8(source), data[:length]
	return f, isFrame
}

// columns says where a CSV capture with a heading line has what.
type columns struct {
	separator          string
	count              int // of the headings
	time, id, bus      int
	pgn, source        int
	data               int   // all bytes in one cell
	bytes              []int // a cell each
	length             int
	extended, isRemote int
}

// headings are the names that columns have, in lower case without spaces and
// underscores. Common practice, no source.
var headings = map[string][]string{
	"time":     {"time", "timestamp", "seconds", "t"},
	"id":       {"id", "canid", "identifier", "arbitrationid", "arbid"},
	"bus":      {"bus", "channel", "interface", "iface"},
	"pgn":      {"pgn"},
	"source":   {"source", "src", "sa", "sourceaddress"},
	"data":     {"data", "payload", "databytes"},
	"length":   {"len", "length", "dlc"},
	"extended": {"extended", "isextended", "ext"},
	"remote":   {"remote", "rtr"},
}

// heading reads the heading line of a CSV capture; nil where it is none.
func heading(line string) *columns {
	c := &columns{separator: ",", time: -1, id: -1, bus: -1, pgn: -1, source: -1, data: -1, length: -1, extended: -1, isRemote: -1}
	for _, s := range []string{";", "\t"} {
		if strings.Count(line, s) > strings.Count(line, c.separator) {
			c.separator = s
		}
	}
	to := map[string]*int{
		"time": &c.time, "id": &c.id, "bus": &c.bus, "pgn": &c.pgn, "source": &c.source, "data": &c.data,
		"length": &c.length, "extended": &c.extended, "remote": &c.isRemote,
	}
	c.count = strings.Count(line, c.separator) + 1
	first := -1 // whether bytes are counted from 0 or 1
	for i, cell := range strings.Split(strings.TrimPrefix(line, "\ufeff"), c.separator) {
		name := strings.NewReplacer(" ", "", "_", "", `"`, "", "-", "").Replace(strings.ToLower(strings.TrimSpace(cell)))
		for what, names := range headings {
			if slices.Contains(names, name) && *to[what] < 0 {
				*to[what] = i
			}
		}
		digits := strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(name, "data"), "byte"), "d")
		if n, err := strconv.Atoi(digits); err == nil && digits != name {
			if first < 0 {
				first = n
			}
			if n-first == len(c.bytes) && len(c.bytes) < maxFrame {
				c.bytes = append(c.bytes, i)
			}
		}
	}
	if (c.id < 0 && (c.pgn < 0 || c.source < 0)) || (c.data < 0 && len(c.bytes) < maxFrame) {
		return nil
	}
	return c
}

// frame reads a line below the heading.
func (c *columns) frame(line string) (frame, kind) {
	cells := strings.Split(line, c.separator)
	get := func(i int) string {
		if i < 0 || i >= len(cells) {
			return ""
		}
		return strings.Trim(strings.TrimSpace(cells[i]), `"`)
	}
	f := frame{bus: get(c.bus), at: math.NaN()}
	if stamp := get(c.time); strings.Contains(stamp, ".") { // whole numbers may be of any unit
		f.at = seconds(stamp)
	}
	if isYes(get(c.isRemote)) || c.extended >= 0 && !isYes(get(c.extended)) {
		return f, isOther
	}
	data, length := c.content(get, cells)
	if c.id >= 0 {
		id := strings.TrimPrefix(strings.ToLower(get(c.id)), "0x")
		if len(id) > 3 && len(id) < 8 { // leading zeros are left out by some
			id = strings.Repeat("0", 8-len(id)) + id
		}
		return f.withHex(id, data, length)
	}
	pgn, perr := decimalOrHex(get(c.pgn), 32)
	source, serr := decimalOrHex(get(c.source), 8)
	bytes, derr := hex.DecodeString(data)
	switch {
	case perr != nil || serr != nil || derr != nil || len(bytes) > maxFast || length >= 0 && len(bytes) != length:
		return f, isBad
	case pgn > lastPGN:
		return f, isOther
	}
	f.pgn, f.source, f.data = uint32(pgn), uint8(source), bytes
	return f, isFrame
}

// decimalOrHex reads a decimal number, or one in hex with 0x before it.
func decimalOrHex(text string, bits int) (uint64, error) {
	if rest, ok := strings.CutPrefix(strings.ToLower(text), "0x"); ok {
		return strconv.ParseUint(rest, 16, bits)
	}
	return strconv.ParseUint(text, 10, bits)
}

// content is a line's bytes in hex, and their number where that is said.
func (c *columns) content(get func(int) string, cells []string) (string, int) {
	length := -1
	if n, err := strconv.Atoi(get(c.length)); err == nil && n >= 0 {
		length = n
	}
	if c.data >= 0 {
		data := get(c.data)
		if c.data == c.count-1 && len(cells) > c.count { // a column for each byte, below one heading
			data = strings.Join(cells[c.data:], " ")
		}
		var b strings.Builder
		for _, word := range strings.Fields(strings.NewReplacer(":", " ", "-", " ", ",", " ", `"`, " ").Replace(strings.ToLower(data))) {
			digits := strings.TrimPrefix(word, "0x")
			if digits != word && len(digits) == 1 {
				digits = "0" + digits
			}
			b.WriteString(strings.ReplaceAll(digits, "0x", ""))
		}
		return b.String(), length
	}
	var b strings.Builder
	for i, at := range c.bytes {
		if cell := strings.TrimPrefix(strings.ToLower(get(at)), "0x"); cell != "" && (length < 0 || i < length) {
			b.WriteString(strings.Repeat("0", max(0, 2-len(cell))) + cell)
		}
	}
	return b.String(), length
}

// isYes reports whether a cell says that something holds.
func isYes(text string) bool {
	switch strings.ToLower(text) {
	case "1", "true", "yes", "x":
		return true
	}
	return false
}
