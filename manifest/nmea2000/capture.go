package nmea2000

import (
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"slices"
	"strings"
)

// Bounds on a capture. It is read line by line, so that its length doesn't
// matter.
const (
	MaxLine    = 4096 // bytes of one line
	maxBuses   = 16   // candump takes that many
	MaxDevices = 4096 // that a capture may tell of; a network has 252 addresses
	MaxFaults  = 20   // lines that are shown for not being understood
)

// Network is what a capture shows of a boat's network.
type Network struct {
	Name    string  `json:"name"`
	Lines   int     `json:"lines"`
	Frames  int     `json:"frames"`
	Bad     int     `json:"bad_lines"`
	Words   int     `json:"lines_of_words"` // what gateways and logging programs write between frames
	Faults  []Fault `json:"faults"`         // the first of the bad lines
	Broken  Broken  `json:"broken"`         // of the product information
	Devices []Seen  `json:"devices"`        // by bus and address
	Silent  int     `json:"silent"`         // devices that claimed an address and sent no product information
	Left    int     `json:"left_out"`       // beyond the bounds
}

// Fault is one line that wasn't understood.
type Fault struct {
	Line int    `json:"line"`
	Text string `json:"text"` // its beginning, unchanged
}

// Seen is one device on the network.
type Seen struct {
	Bus     string  `json:"bus,omitempty"`
	Address uint8   `json:"address"`
	Name    Name    `json:"name"` // 0: it claimed no address meanwhile
	Product Product `json:"product"`
	Times   int     `json:"times"`          // how often it sent product information
	Unclear bool    `json:"unclear"`        // not always the same
	Also    []uint8 `json:"also,omitempty"` // other addresses of the same box
}

// Whole reports whether all of the capture was understood, and every message
// about a product read to its end.
func (n *Network) Whole() bool { return n.Bad == 0 && n.Broken.Messages() == 0 && n.Left == 0 }

// ReadCapture reads a capture of one of Forms. What it can't understand is
// counted, never guessed.
func ReadCapture(ctx context.Context, name string, in io.Reader) (*Network, error) {
	c := &capture{
		network: &Network{Name: name, Faults: []Fault{}, Devices: []Seen{}},
		joiner:  joiner{open: map[stream]*partial{}},
		buses:   map[string]int{}, current: map[place]*Seen{}, byName: map[named]*Seen{},
	}
	if err := eachLine(ctx, name, in, c.line); err != nil {
		return nil, err
	}
	c.joiner.end()
	c.conclude()
	return c.network, nil
}

// place is an address on a bus; named, a device by its NAME.
type (
	place struct {
		bus     int
		address uint8
	}
	named struct {
		bus  int
		name Name
	}
)

// capture is a capture being read.
type capture struct {
	network *Network
	joiner  joiner
	table   *columns
	buses   map[string]int
	words   []Fault         // the first of the lines of words
	current map[place]*Seen // who has an address now
	byName  map[named]*Seen
	all     []*Seen
}

func (c *capture) line(text string, long bool) {
	c.network.Lines++
	if c.table == nil && c.network.Frames == 0 && c.network.Bad == 0 && c.network.Words <= MaxFaults {
		text = strings.TrimPrefix(text, "\ufeff")
		if c.table = heading(text); c.table != nil {
			return
		}
	}
	f, what := frame{}, isBad
	if !long {
		f, what = parseFrame(text, c.table)
	}
	switch what {
	case isBad:
		if !long && wordsOnly(text) {
			c.network.Words++
			c.words = addFault(c.words, c.network.Lines, text)
			return
		}
		c.network.Bad++
		c.network.Faults = addFault(c.network.Faults, c.network.Lines, text)
	case isFrame:
		c.network.Frames++
		c.frame(f)
	}
}

func addFault(faults []Fault, line int, text string) []Fault {
	if len(faults) == MaxFaults {
		return faults
	}
	return append(faults, Fault{line, beginning(strings.TrimSpace(text))})
}

// maxQuoted is how many characters of a line a message repeats.
const maxQuoted = 60

func beginning(s string) string {
	if r := []rune(s); len(r) > maxQuoted {
		return string(r[:maxQuoted])
	}
	return s
}

func (c *capture) frame(f frame) {
	if f.pgn != pgnAddressClaim && f.pgn != pgnProduct {
		return
	}
	bus, ok := c.buses[f.bus]
	if !ok {
		if len(c.buses) == maxBuses {
			c.network.Left++
			return
		}
		bus = len(c.buses)
		c.buses[f.bus] = bus
	}
	at := place{bus, f.source}
	if f.pgn == pgnAddressClaim {
		if len(f.data) == maxFrame {
			c.claim(f.bus, at, Name(binary.LittleEndian.Uint64(f.data)))
		}
		return
	}
	message := c.joiner.add(bus, f)
	if message == nil {
		return
	}
	product, ok := decodeProduct(message)
	if !ok {
		c.joiner.broken.Lengths++
		return
	}
	if s := c.at(f.bus, at); s != nil {
		s.says(product)
	}
}

// claim notes that a device has an address from now on.
func (c *capture) claim(bus string, at place, name Name) {
	if name == 0 || at.address > 251 { // nobody, or one that found no address
		return
	}
	key := named{at.bus, name}
	now := c.current[at]
	switch known := c.byName[key]; {
	case known != nil:
		known.Address = at.address
		c.current[at] = known
	case now != nil && now.Name == 0:
		now.Name = name
		c.byName[key] = now
	default:
		if s := c.fresh(bus, at); s != nil {
			s.Name = name
			c.byName[key] = s
		}
	}
}

// at is the device that has an address now.
func (c *capture) at(bus string, at place) *Seen {
	if s := c.current[at]; s != nil {
		return s
	}
	return c.fresh(bus, at)
}

func (c *capture) fresh(bus string, at place) *Seen {
	if len(c.all) == MaxDevices {
		c.network.Left++
		return nil
	}
	s := &Seen{Bus: bus, Address: at.address}
	c.all = append(c.all, s)
	c.current[at] = s
	return s
}

func (s *Seen) says(p Product) {
	switch {
	case s.Times == 0:
		s.Product = p
	case s.Product != p:
		s.Product, s.Unclear = p, true
	}
	s.Times++
}

// conclude lists what was seen.
func (c *capture) conclude() {
	c.network.Broken = c.joiner.broken
	if n := c.network; n.Words > n.Frames { // a file of words with a frame in it is no capture
		n.Bad += n.Words
		n.Words = 0
		n.Faults = append(n.Faults, c.words...)
		slices.SortFunc(n.Faults, func(a, b Fault) int { return a.Line - b.Line })
		n.Faults = n.Faults[:min(len(n.Faults), MaxFaults)]
	}
	for _, s := range c.all {
		if s.Times == 0 {
			c.network.Silent++
			continue
		}
		if len(c.buses) == 1 {
			s.Bus = ""
		}
		c.network.Devices = append(c.network.Devices, *s)
	}
	slices.SortStableFunc(c.network.Devices, func(a, b Seen) int {
		return cmp.Or(cmp.Compare(a.Bus, b.Bus), cmp.Compare(a.Address, b.Address))
	})
	c.network.Devices = mergeBoxes(c.network.Devices)
}

// mergeBoxes makes one of a box that shows as several devices: they have one maker, the
// same product information, and a serial that tells units apart.
func mergeBoxes(all []Seen) []Seen {
	some := []Seen{}
	for _, s := range all {
		i := slices.IndexFunc(some, func(o Seen) bool { return sameBox(o, s) })
		if i < 0 {
			some = append(some, s)
			continue
		}
		some[i].Also = append(some[i].Also, s.Address)
		some[i].Times += s.Times
		some[i].Unclear = some[i].Unclear || s.Unclear
	}
	return some
}

func sameBox(a, b Seen) bool {
	return a.Bus == b.Bus && a.Name != 0 && b.Name != 0 && a.Name != b.Name && a.Name.Manufacturer() == b.Name.Manufacturer() &&
		a.Product == b.Product && tellsApart(a.Product.Serial)
}

// tellsApart reports whether a serial can be of one unit alone, and isn't a
// placeholder that nobody set: 0, 00000000, 1234.
func tellsApart(serial string) bool {
	const least = 4
	if len(serial) < least {
		return false
	}
	same, rising := true, true
	for i := 1; i < len(serial); i++ {
		same = same && serial[i] == serial[i-1]
		rising = rising && serial[i] == serial[i-1]+1
	}
	return !same && !rising
}
