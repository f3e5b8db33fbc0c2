package intake

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zstd"

	"cardwright/media"
)

// content is the bytes of a download.
type content struct {
	ctx  context.Context // of whoever reads them
	file io.ReaderAt
	size int64
	head []byte // the first of them, at most headBytes
}

// ending is what the form of a file says of its end.
type ending struct {
	whole   bool   // the form says where it is, and the file reaches it
	kind    string // of file
	missing string // "": nothing that was found
}

// end finds out whether a file reaches the end that its own form gives. gzip, zstd
// and tar are read through. The other forms are from memory of their specifications
// and libraries.
func (c content) end() ending {
	for _, f := range forms {
		if len(c.head) < f.at+len(f.bytes) || string(c.head[f.at:f.at+len(f.bytes)]) != f.bytes {
			continue
		}
		short := f.missing(c)
		return ending{short == "", f.kind, short}
	}
	return ending{}
}

// forms are the kinds of file whose end can be found.
var forms = []struct {
	kind    string
	at      int
	bytes   string
	missing func(content) string // what is missing; "": nothing
}{
	{"a 7z archive", 0, "7z\xbc\xaf\x27\x1c", func(c content) string {
		return c.shorterThan(32 + c.number(binary.LittleEndian, 12, 8) + c.number(binary.LittleEndian, 20, 8))
	}},
	{"a rar archive", 0, "Rar!\x1a\x07\x01", func(c content) string { return c.lacksAtEnd(64, "\x03\x05\x04") }},
	{"a rar archive", 0, "Rar!\x1a\x07\x00", func(c content) string {
		return c.lacksAtEnd(64, "\x7b\x00\x40\x07\x00", "\x7b\x09\x40", "\x7b\x0f\x40", "\x7b\x01\x40")
	}},
	{"a cabinet", 0, "MSCF\x00\x00\x00\x00", func(c content) string { return c.shorterThan(c.number(binary.LittleEndian, 8, 4)) }},
	{"a squashfs image", 0, "hsqs", func(c content) string { return c.shorterThan(c.number(binary.LittleEndian, 40, 8)) }},
	{"a boot image", 0, "\x27\x05\x19\x56", func(c content) string { return c.shorterThan(64 + c.number(binary.BigEndian, 12, 4)) }},
	{"a device tree", 0, "\xd0\x0d\xfe\xed", func(c content) string { return c.shorterThan(c.number(binary.BigEndian, 4, 4)) }},
	{"a disc image", 0x8001, "CD001", func(c content) string {
		return c.shorterThan(c.number(binary.LittleEndian, 0x8000+80, 4) * c.number(binary.LittleEndian, 0x8000+128, 2))
	}},
	{"an xz file", 0, "\xfd7zXZ\x00", func(c content) string { return c.lacksAtEnd(2, "YZ") }},
	{"a bzip2 file", 0, "BZh", content.bzip2End},
	{"a lzip file", 0, "LZIP", content.lzipEnd},
	{"an lz4 file", 0, "\x04\x22\x4d\x18", func(c content) string { return c.lacksAtEnd(8, "\x00\x00\x00\x00") }},
	{"a cpio archive", 0, "070701", func(c content) string { return c.lacksAtEnd(headBytes, "TRAILER!!!") }},
	{"an ar archive", 0, "!<arch>\n", content.arEnd},
	{"a gzip file", 0, "\x1f\x8b\x08", content.gzipEnd},
	{"a zstd file", 0, "\x28\xb5\x2f\xfd", content.zstdEnd},
	{"a tar archive", 257, "ustar", content.tarEnd},
}

// number is a number in the head of a file; 0 where the head doesn't reach that
// far.
func (c content) number(order binary.ByteOrder, at, bytes int) uint64 {
	if at+bytes > len(c.head) {
		return 0
	}
	switch b := c.head[at : at+bytes]; bytes {
	case 2:
		return uint64(order.Uint16(b))
	case 4:
		return uint64(order.Uint32(b))
	default:
		return min(order.Uint64(b), 1<<60)
	}
}

func (c content) shorterThan(says uint64) string {
	if says <= uint64(c.size) {
		return ""
	}
	return fmt.Sprintf("%s, where its header says %s", media.Bytes(c.size), media.Bytes(int64(min(says, 1<<62))))
}

// tail are the last bytes of a file, at most so many.
func (c content) tail(most int) []byte {
	tail := make([]byte, min(int64(most), c.size))
	if _, err := c.file.ReadAt(tail, c.size-int64(len(tail))); err != nil && !errors.Is(err, io.EOF) {
		return nil
	}
	return tail
}

// lacksAtEnd is what is missing where none of these marks is among the last bytes.
func (c content) lacksAtEnd(most int, marks ...string) string {
	tail := c.tail(most)
	for _, m := range marks {
		if bytes.Contains(tail, []byte(m)) {
			return ""
		}
	}
	return media.Bytes(c.size) + ", without its end mark"
}

// bzip2End looks for the end mark, which begins at any bit, and the checksum of 32
// bits behind it.
func (c content) bzip2End() string {
	const mark, bits, sum = 0x177245385090, 48, 32
	tail := c.tail(12)
	var last uint64
	for i := range 8 * len(tail) {
		last = last<<1 | uint64(tail[i/8]>>(7-i%8)&1)
		if last&(1<<bits-1) == mark && 8*len(tail)-i > sum {
			return ""
		}
	}
	return media.Bytes(c.size) + ", without its end mark"
}

func (c content) lzipEnd() string {
	tail := c.tail(8)
	if len(tail) == 8 {
		member := binary.LittleEndian.Uint64(tail)
		start := make([]byte, 4)
		if member <= uint64(c.size) {
			if _, err := c.file.ReadAt(start, c.size-int64(member)); err == nil && string(start) == "LZIP" {
				return ""
			}
		}
	}
	return media.Bytes(c.size) + ", without the size at its end"
}

// arEnd goes from member to member.
func (c content) arEnd() string {
	const first, header = 8, 60
	at := int64(first)
	for n := 0; at < c.size && n < MaxMembers; n++ {
		h := make([]byte, header)
		if _, err := c.file.ReadAt(h, at); err != nil {
			return media.Bytes(c.size) + ", cut off in the header of a member"
		}
		var size int64
		if _, err := fmt.Sscanf(string(h[48:58]), "%d", &size); err != nil || size < 0 {
			return fmt.Sprintf("no size in the header of the member at byte %d", at)
		}
		at += header + size
		if at > c.size {
			return c.shorterThan(uint64(at))
		}
		at += at % 2
	}
	return ""
}

func (c content) all() io.Reader { return io.NewSectionReader(c.file, 0, c.size) }

// missingWhenUnpacked is what is missing of a packed file, found by unpacking it to
// its end.
func (c content) missingWhenUnpacked(in io.Reader) string {
	n, err := copyAll(c.ctx, io.Discard, io.LimitReader(in, maxUnpacked), nil)
	switch {
	case c.ctx.Err() != nil, err == nil:
		return ""
	case errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Sprintf("%s, which break off after %s unpacked", media.Bytes(c.size), media.Bytes(n))
	}
	return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(c.size), err)
}

func (c content) gzipEnd() string {
	in, err := gzip.NewReader(c.all())
	if err != nil {
		return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(c.size), err)
	}
	return c.missingWhenUnpacked(in)
}

// zstdWindow is the most memory that a zstd file may ask for.
const zstdWindow = 32 << 20

func (c content) zstdEnd() string {
	in, err := zstd.NewReader(c.all(), zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(zstdWindow))
	if err != nil {
		return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(c.size), err)
	}
	defer in.Close()
	if _, err := copyAll(c.ctx, io.Discard, io.LimitReader(in, 1), nil); errors.Is(err, zstd.ErrWindowSizeExceeded) {
		return "" // unknown
	}
	return c.missingWhenUnpacked(in)
}

// tarEnd reads the headers of a tar archive's members, and the two empty blocks
// that end it.
func (c content) tarEnd() string {
	in := tar.NewReader(io.NewSectionReader(c.file, 0, c.size))
	for n := 0; n < MaxMembers; n++ {
		_, err := in.Next()
		switch {
		case errors.Is(err, io.EOF):
			if len(bytes.Trim(c.tail(2*tarHeader), "\x00")) > 0 {
				return media.Bytes(c.size) + ", without the empty blocks that end it"
			}
			return ""
		case err != nil:
			return fmt.Sprintf("%s, and its list of members breaks off: %v", media.Bytes(c.size), err)
		}
	}
	return ""
}
