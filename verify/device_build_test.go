package verify_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand"
	"path"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"cardwright/media/mediatest"
)

// node is a file or folder of a card that is built here, by the FAT32
// specification and sharing no code with what writes or reads cards, so that
// it can be what no honest writer makes.
type node struct {
	name    string
	short   string // 11 bytes; "": made from the name
	attr    byte
	content []byte
	dir     bool
	kids    []*node
	behind  []*node // entries behind the folder's end mark
}

// built is how the rest of a card is made.
type built struct {
	bare      bool // no partition table
	bootText  int  // 1: texts in the boot code of both copies, 2: of the first alone
	serial    bool // the first boot sector alone has another number
	oem       bool // likewise the name of who formatted it
	freeWrong bool
	dirty     bool
	lost      bool
	hidden    bool // another count of hidden sectors
	label     bool // a label in the root folder alone
	scatter   *rand.Rand
}

const (
	builtSectors  = 68_000 // of the volume: just enough clusters of one sector for FAT32
	builtReserved = 32
	builtFAT      = 528 // sectors
	builtStart    = 2048
	builtClusters = builtSectors - builtReserved - 2*builtFAT
	builtBytes    = (builtStart + builtSectors) * 512
)

// builder puts a tree onto a card.
type builder struct {
	t     testing.TB
	m     *mediatest.Memory
	start int64
	fat   []uint32
	next  uint32
	how   built
}

// build is a card with this tree.
func build(t testing.TB, root *node, how built) (*mediatest.Memory, int64) {
	b := &builder{t: t, m: mediatest.NewMemory(builtBytes), fat: make([]uint32, builtClusters+2), next: 3, how: how}
	if !how.bare {
		b.start = builtStart * 512
		b.table()
	}
	b.fat[0], b.fat[1], b.fat[2] = 0x0FFFFFF8, 0x0FFFFFFF, 0x0FFFFFFF
	if how.dirty {
		b.fat[1] = 0x07FFFFFF
	}
	b.folder(root, 2, 0, true)
	if how.lost {
		b.fat[60_000], b.fat[60_001] = 60_001, 0x0FFFFFFF
	}
	b.boot()
	raw := make([]byte, 0, len(b.fat)*4)
	for _, v := range b.fat {
		raw = binary.LittleEndian.AppendUint32(raw, v)
	}
	for i := range int64(2) {
		b.write(raw, b.start+(builtReserved+i*builtFAT)*512)
	}
	return b.m, b.start
}

func (b *builder) write(p []byte, at int64) {
	_, err := b.m.WriteAt(p, at)
	require.NoError(b.t, err)
}

func (b *builder) table() {
	s := make([]byte, 512)
	copy(s[446:], []byte{0, 0xFE, 0xFF, 0xFF, 0x0C, 0xFE, 0xFF, 0xFF})
	binary.LittleEndian.PutUint32(s[454:], builtStart)
	binary.LittleEndian.PutUint32(s[458:], builtSectors)
	s[510], s[511] = 0x55, 0xAA
	b.write(s, 0)
}

// boot writes the boot sector, FSInfo and their copies (FAT32 specification,
// "Boot Sector and BPB" and "FAT32 FSInfo Sector Structure").
func (b *builder) boot() {
	s := make([]byte, 512)
	copy(s, "\xEB\x58\x90MADEHERE")
	binary.LittleEndian.PutUint16(s[11:], 512)
	s[13], s[16], s[21] = 1, 2, 0xF8
	binary.LittleEndian.PutUint16(s[14:], builtReserved)
	binary.LittleEndian.PutUint32(s[28:], uint32(b.start/512))
	binary.LittleEndian.PutUint32(s[32:], builtSectors)
	binary.LittleEndian.PutUint32(s[36:], builtFAT)
	binary.LittleEndian.PutUint32(s[44:], 2)
	s[48], s[50], s[64], s[66] = 1, 6, 0x80, 0x29
	copy(s[67:], "1234NO NAME    FAT32   ")
	if b.how.hidden {
		s[28]++
	}
	s[510], s[511] = 0x55, 0xAA
	text := "\r\nNothing to start from here.\xff\r\nCard error\xff\r\nPress a key\r\n\x00\x00\xac\xcb\xd8"
	first := bytes.Clone(s)
	for i, sector := range [][]byte{first, s} {
		if b.how.bootText == 1 || b.how.bootText == 2 && i == 0 {
			copy(sector[510-len(text):510], text)
		}
	}
	if b.how.serial {
		first[67]++
	}
	if b.how.oem {
		first[3]++
	}
	info := make([]byte, 512)
	copy(info, "RRaA")
	copy(info[484:], "rrAa")
	free := uint32(0)
	for _, v := range b.fat[2:] {
		if v == 0 {
			free++
		}
	}
	if b.how.freeWrong {
		free -= 7
	}
	binary.LittleEndian.PutUint32(info[488:], free)
	binary.LittleEndian.PutUint32(info[492:], b.next)
	info[510], info[511] = 0x55, 0xAA
	b.write(first, b.start)
	b.write(s, b.start+6*512)
	b.write(info, b.start+512)
	b.write(info, b.start+7*512)
}

// chain takes clusters for bytes, and gives the first.
func (b *builder) chain(content []byte) (first uint32) {
	last := uint32(0)
	for at := 0; at < len(content); at += 512 {
		c := b.next
		if b.how.scatter != nil { // some room in between, and not in order of need
			c += uint32(b.how.scatter.Intn(5))
		}
		b.next = c + 1
		if last == 0 {
			first = c
		} else {
			b.fat[last] = c
		}
		b.fat[c], last = 0x0FFFFFFF, c
		b.write(content[at:min(at+512, len(content))], b.place(c))
	}
	return first
}

func (b *builder) place(c uint32) int64 {
	return b.start + (builtReserved+2*builtFAT+int64(c)-2)*512
}

// folder writes a folder whose first cluster is taken already.
func (b *builder) folder(n *node, first, parent uint32, root bool) {
	var out []byte
	if root && b.how.label {
		out = append(out, entryOf("KITTIWAKE  ", 0x08, 0, 0)...)
	}
	if !root {
		out = append(out, entryOf(".          ", 0x10, first, 0)...)
		out = append(out, entryOf("..         ", 0x10, parent, 0)...)
	}
	taken := map[string]bool{}
	for _, k := range n.kids {
		if k.short != "" {
			taken[k.short] = true
		}
	}
	if root {
		first = 0
	}
	for _, k := range n.kids {
		out = append(out, b.entries(k, first, taken)...)
	}
	out = append(out, make([]byte, 32)...)
	for _, k := range n.behind {
		out = append(out, b.entries(k, first, taken)...)
	}
	if root {
		first = 2
	}
	b.write(out[:min(512, len(out))], b.place(first))
	for last, at := first, 512; at < len(out); at += 512 {
		c := b.next
		b.next++
		b.fat[last], b.fat[c], last = c, 0x0FFFFFFF, c
		b.write(out[at:min(at+512, len(out))], b.place(c))
	}
}

// entries are those of a file or folder, which it writes as well.
func (b *builder) entries(n *node, parent uint32, taken map[string]bool) (out []byte) {
	short := n.short
	if short == "" {
		short = aliasOf(n.name, taken)
	}
	first, size := uint32(0), uint32(len(n.content))
	if n.dir {
		first, size = b.next, 0
		b.next++
		b.fat[first] = 0x0FFFFFFF
		b.folder(n, first, parent, false)
	} else {
		first = b.chain(n.content)
	}
	return append(longEntries(n.name, short), entryOf(short, n.attr|map[bool]byte{true: 0x10, false: 0x20}[n.dir], first, size)...)
}

func entryOf(short string, attr byte, first, size uint32) []byte {
	e := make([]byte, 32)
	copy(e, short)
	e[11] = attr
	binary.LittleEndian.PutUint16(e[20:], uint16(first>>16))
	binary.LittleEndian.PutUint16(e[22:], 0x6000)
	binary.LittleEndian.PutUint16(e[24:], 0x5862) // 2 March 2024
	binary.LittleEndian.PutUint16(e[26:], uint16(first))
	binary.LittleEndian.PutUint32(e[28:], size)
	return e
}

// longEntries are a long name's parts, none where the short name says it all.
func longEntries(name, short string) (out []byte) {
	if name == strings.TrimRight(short[:8], " ")+"."+strings.TrimRight(short[8:], " ") || name == strings.TrimRight(short, " ") {
		return nil
	}
	sum := byte(0)
	for _, c := range []byte(short) {
		sum = sum<<7 | sum>>1
		sum += c
	}
	units := utf16.Encode([]rune(name))
	if len(units)%13 != 0 {
		units = append(units, 0)
	}
	for len(units)%13 != 0 {
		units = append(units, 0xFFFF)
	}
	parts := len(units) / 13
	for n := parts; n > 0; n-- {
		e := make([]byte, 32)
		e[0], e[11], e[13] = byte(n), 0x0F, sum
		if n == parts {
			e[0] |= 0x40
		}
		for i, at := range []int{1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30} {
			binary.LittleEndian.PutUint16(e[at:], units[(n-1)*13+i])
		}
		out = append(out, e...)
	}
	return out
}

// aliasOf is a short name that is not taken.
func aliasOf(name string, taken map[string]bool) string {
	keep := func(s string) string {
		return strings.Map(func(r rune) rune {
			if r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("$%'-_@~`!(){}^#&", r) {
				return r
			}
			return '_'
		}, strings.ToUpper(s))
	}
	ending := path.Ext(name)
	stem := strings.ReplaceAll(strings.ReplaceAll(strings.TrimSuffix(name, ending), ".", ""), " ", "")
	ending = keep(strings.TrimPrefix(ending, "."))
	exact := keep(stem) == strings.ToUpper(strings.TrimSuffix(name, path.Ext(name))) && len(stem) <= 8 && len(ending) <= 3
	stem, ending = keep(stem), ending[:min(3, len(ending))]
	short := fmt.Sprintf("%-8s%-3s", stem[:min(8, len(stem))], ending)
	for n := 1; !exact && n == 1 || taken[short]; n++ {
		tail := fmt.Sprintf("~%d", n)
		short = fmt.Sprintf("%-8s%-3s", stem[:min(8-len(tail), len(stem))]+tail, ending)
		exact = true
	}
	taken[short] = true
	return short
}

// put adds a file by its path, with the folders above it.
func (n *node) put(p string, content []byte) *node {
	at := n
	parts := strings.Split(p, "/")
	for _, name := range parts[:len(parts)-1] {
		at = at.sub(name)
	}
	f := &node{name: parts[len(parts)-1], content: content}
	at.kids = append(at.kids, f)
	return f
}

func (n *node) sub(name string) *node {
	if i := slices.IndexFunc(n.kids, func(k *node) bool { return k.dir && k.name == name }); i >= 0 {
		return n.kids[i]
	}
	f := &node{name: name, dir: true}
	n.kids = append(n.kids, f)
	return f
}

// copied is a tree of its own.
func (n *node) copied() *node {
	c := *n
	c.kids, c.behind = nil, nil
	for _, k := range n.kids {
		c.kids = append(c.kids, k.copied())
	}
	for _, k := range n.behind {
		c.behind = append(c.behind, k.copied())
	}
	return &c
}

// each goes through all below a folder, with the folder that holds each.
func (n *node) each(do func(p string, parent, k *node)) { n.eachBelow("", do) }

func (n *node) eachBelow(above string, do func(p string, parent, k *node)) {
	for _, k := range slices.Clone(n.kids) {
		do(path.Join(above, k.name), n, k)
		k.eachBelow(path.Join(above, k.name), do)
	}
}

func (n *node) remove(k *node) {
	n.kids = slices.DeleteFunc(n.kids, func(other *node) bool { return other == k })
}
