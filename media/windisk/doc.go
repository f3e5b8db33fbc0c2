// Package windisk is what Windows says of drives and volumes, and how its names
// and error numbers are read: pure functions over the bytes that its calls
// give, so that they can be tested on any system. The forms are those of
// Microsoft's documentation of winioctl.h; the structures named with them
// are described there. It opens no drive: packages drive and readers do.
package windisk

import (
	"encoding/binary"
	"strings"
	"unicode/utf8"
)

// control is a control code as CTL_CODE in winioctl.h forms it; all of these use
// METHOD_BUFFERED.
func control(device, function, access uint32) uint32 { return device<<16 | access<<14 | function<<2 }

const (
	anyAccess  = 0
	readAccess = 1

	fileSystemDevice = 0x09
	diskDevice       = 0x07
	storageDevice    = 0x2D
	volumeDevice     = 0x56 // IOCTL_VOLUME_BASE, the letter V
)

// The control codes that are used here, by Microsoft's names without IOCTL_ or
// FSCTL_.
var (
	LockVolume       = control(fileSystemDevice, 6, anyAccess)
	DismountVolume   = control(fileSystemDevice, 8, anyAccess)
	DriveGeometryEx  = control(diskDevice, 0x28, anyAccess)
	LengthInfo       = control(diskDevice, 0x17, readAccess)
	IsWritable       = control(diskDevice, 9, anyAccess)
	DriveLayoutEx    = control(diskDevice, 0x14, anyAccess)
	UpdateProperties = control(diskDevice, 0x50, anyAccess)
	QueryProperty    = control(storageDevice, 0x500, anyAccess)
	HotplugInfo      = control(storageDevice, 0x305, anyAccess)
	CheckVerify2     = control(storageDevice, 0x200, anyAccess)
	MediaRemoval     = control(storageDevice, 0x201, readAccess)
	EjectMedia       = control(storageDevice, 0x202, readAccess)
	VolumeExtents    = control(volumeDevice, 0, anyAccess)
)

// The most that is believed of an answer.
const (
	MaxDrives  = 128 // whole drives that are looked for
	MaxExtents = 64  // of one volume
	MaxParts   = 128 // of one drive
	MaxAnswer  = 64 << 10
	maxText    = 256
)

// le reads little-endian numbers. Those past the end of an answer are missing.
type le []byte

func (b le) u32(at int) (uint32, bool) {
	if at < 0 || at+4 > len(b) {
		return 0, false
	}
	return binary.LittleEndian.Uint32(b[at:]), true
}

func (b le) i64(at int) (int64, bool) {
	if at < 0 || at+8 > len(b) {
		return 0, false
	}
	return int64(binary.LittleEndian.Uint64(b[at:])), true
}

// text is the text at an offset in an answer, up to a zero byte; "" for 0 and for
// places outside the answer.
func (b le) text(at uint32) string {
	if at == 0 || int64(at) >= int64(len(b)) {
		return ""
	}
	raw := b[at:min(len(b), int(at)+maxText)]
	for i, c := range raw {
		if c == 0 {
			raw = raw[:i]
			break
		}
	}
	text := strings.TrimSpace(string(raw))
	if !utf8.ValidString(text) {
		text = strings.ToValidUTF8(text, "\uFFFD")
	}
	return text
}
