package intake

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zstd"

	"cardwright/media"
)

// ending is what a file's own form says of where it ends.
type ending struct {
	known bool   // the form says it, and the file goes on to there
	kind  string // of file
	short string // what is missing; "": nothing
}

// end finds out whether a file goes on to where its form says that it ends. The
// forms are as their specifications and libraries have them, from memory, but for
// gzip, zstd and tar, which are read.
func (x *examination) end() ending {
	for _, f := range forms {
		if len(x.head) < f.at+len(f.bytes) || string(x.head[f.at:f.at+len(f.bytes)]) != f.bytes {
			continue
		}
		short := f.missing(x)
		return ending{short == "", f.kind, short}
	}
	return ending{}
}

// forms are the kinds of file of which the end can be told.
var forms = []struct {
	kind    string
	at      int
	bytes   string
	missing func(*examination) string // what is missing; "": nothing
}{
	{"a 7z archive", 0, "7z\xbc\xaf\x27\x1c", func(x *examination) string {
		return x.shorterThan(32 + x.number(binary.LittleEndian, 12, 8) + x.number(binary.LittleEndian, 20, 8))
	}},
	{"a rar archive", 0, "Rar!\x1a\x07\x01", func(x *examination) string { return x.lacksAtEnd(64, "\x03\x05\x04") }},
	{"a rar archive", 0, "Rar!\x1a\x07\x00", func(x *examination) string {
		return x.lacksAtEnd(64, "\x7b\x00\x40\x07\x00", "\x7b\x09\x40", "\x7b\x0f\x40", "\x7b\x01\x40")
	}},
	{"a cabinet", 0, "MSCF\x00\x00\x00\x00", func(x *examination) string { return x.shorterThan(x.number(binary.LittleEndian, 8, 4)) }},
	{"a squashfs image", 0, "hsqs", func(x *examination) string { return x.shorterThan(x.number(binary.LittleEndian, 40, 8)) }},
	{"a boot image", 0, "\x27\x05\x19\x56", func(x *examination) string { return x.shorterThan(64 + x.number(binary.BigEndian, 12, 4)) }},
	{"a device tree", 0, "\xd0\x0d\xfe\xed", func(x *examination) string { return x.shorterThan(x.number(binary.BigEndian, 4, 4)) }},
	{"a disc image", 0x8001, "CD001", func(x *examination) string {
		return x.shorterThan(x.number(binary.LittleEndian, 0x8000+80, 4) * x.number(binary.LittleEndian, 0x8000+128, 2))
	}},
	{"an xz file", 0, "\xfd7zXZ\x00", func(x *examination) string { return x.lacksAtEnd(2, "YZ") }},
	{"a bzip2 file", 0, "BZh", (*examination).bzip2End},
	{"a lzip file", 0, "LZIP", (*examination).lzipEnd},
	{"an lz4 file", 0, "\x04\x22\x4d\x18", func(x *examination) string { return x.lacksAtEnd(8, "\x00\x00\x00\x00") }},
	{"a cpio archive", 0, "070701", func(x *examination) string { return x.lacksAtEnd(headBytes, "TRAILER!!!") }},
	{"an ar archive", 0, "!<arch>\n", (*examination).arEnd},
	{"a gzip file", 0, "\x1f\x8b\x08", (*examination).gzipEnd},
	{"a zstd file", 0, "\x28\xb5\x2f\xfd", (*examination).zstdEnd},
	{"a tar archive", 257, "ustar", (*examination).tarEnd},
}

// number is a number in the head of a file; 0 where the head doesn't reach it.
func (x *examination) number(order binary.ByteOrder, at, bytes int) uint64 {
	if at+bytes > len(x.head) {
		return 0
	}
	switch b := x.head[at : at+bytes]; bytes {
	case 2:
		return uint64(order.Uint16(b))
	case 4:
		return uint64(order.Uint32(b))
	default:
		return min(order.Uint64(b), 1<<60)
	}
}

func (x *examination) shorterThan(says uint64) string {
	if says <= uint64(x.size) {
		return ""
	}
	return fmt.Sprintf("%s, and it says that it has %s", media.Bytes(x.size), media.Bytes(int64(min(says, 1<<62))))
}

// tail are the last bytes of a file, at most so many.
func (x *examination) tail(most int) []byte {
	tail := make([]byte, min(int64(most), x.size))
	if _, err := x.file.ReadAt(tail, x.size-int64(len(tail))); err != nil && !errors.Is(err, io.EOF) {
		return nil
	}
	return tail
}

// lacksAtEnd is what is missing where none of these marks stands in the last
// bytes of a file.
func (x *examination) lacksAtEnd(most int, marks ...string) string {
	tail := x.tail(most)
	for _, m := range marks {
		if bytes.Contains(tail, []byte(m)) {
			return ""
		}
	}
	return media.Bytes(x.size) + ", without the mark that ends it"
}

// bzip2End looks for the mark of the end, which begins at any bit, and the
// checksum of 32 bits behind it.
func (x *examination) bzip2End() string {
	const mark, bits, sum = 0x177245385090, 48, 32
	tail := x.tail(12)
	var last uint64
	for i := range 8 * len(tail) {
		last = last<<1 | uint64(tail[i/8]>>(7-i%8)&1)
		if last&(1<<bits-1) == mark && 8*len(tail)-i > sum {
			return ""
		}
	}
	return media.Bytes(x.size) + ", without the mark that ends it"
}

func (x *examination) lzipEnd() string {
	tail := x.tail(8)
	if len(tail) == 8 {
		member := binary.LittleEndian.Uint64(tail)
		start := make([]byte, 4)
		if member <= uint64(x.size) {
			if _, err := x.file.ReadAt(start, x.size-int64(member)); err == nil && string(start) == "LZIP" {
				return ""
			}
		}
	}
	return media.Bytes(x.size) + ", without the size that ends it"
}

// arEnd goes from member to member.
func (x *examination) arEnd() string {
	const first, header = 8, 60
	at := int64(first)
	for n := 0; at < x.size && n < MaxMembers; n++ {
		h := make([]byte, header)
		if _, err := x.file.ReadAt(h, at); err != nil {
			return media.Bytes(x.size) + ", within the head of a member"
		}
		var size int64
		if _, err := fmt.Sscanf(string(h[48:58]), "%d", &size); err != nil || size < 0 {
			return fmt.Sprintf("a member without a size at byte %d", at)
		}
		at += header + size
		if at > x.size {
			return x.shorterThan(uint64(at))
		}
		at += at % 2
	}
	return ""
}

func (x *examination) whole() io.Reader { return io.NewSectionReader(x.file, 0, x.size) }

// unpacked is what is missing of a packed file, by reading it to its end.
func (x *examination) unpacked(in io.Reader) string {
	n, err := copyAll(x.ctx, io.Discard, io.LimitReader(in, maxUnpacked), nil)
	switch {
	case x.ctx.Err() != nil, err == nil:
		return ""
	case errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Sprintf("%s, of which the last are missing after %s unpacked", media.Bytes(x.size), media.Bytes(n))
	}
	return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(x.size), err)
}

func (x *examination) gzipEnd() string {
	in, err := gzip.NewReader(x.whole())
	if err != nil {
		return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(x.size), err)
	}
	return x.unpacked(in)
}

// zstdWindow is the most memory that a zstd file may ask for.
const zstdWindow = 32 << 20

func (x *examination) zstdEnd() string {
	in, err := zstd.NewReader(x.whole(), zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(zstdWindow))
	if err != nil {
		return fmt.Sprintf("%s that can't be unpacked: %v", media.Bytes(x.size), err)
	}
	defer in.Close()
	if _, err := copyAll(x.ctx, io.Discard, io.LimitReader(in, 1), nil); errors.Is(err, zstd.ErrWindowSizeExceeded) {
		return "" // it can't be told
	}
	return x.unpacked(in)
}

// tarEnd reads the heads of a tar archive's members, and the two empty blocks
// that end it.
func (x *examination) tarEnd() string {
	in := tar.NewReader(io.NewSectionReader(x.file, 0, x.size))
	for n := 0; n < MaxMembers; n++ {
		_, err := in.Next()
		switch {
		case errors.Is(err, io.EOF):
			if len(bytes.Trim(x.tail(2*tarHeader), "\x00")) > 0 {
				return media.Bytes(x.size) + ", without the empty blocks that end it"
			}
			return ""
		case err != nil:
			return fmt.Sprintf("%s, and its list of members breaks off: %v", media.Bytes(x.size), err)
		}
	}
	return ""
}
