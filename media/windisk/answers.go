package windisk

import "fmt"

// Descriptor is what a drive says of itself (STORAGE_DEVICE_DESCRIPTOR).
type Descriptor struct {
	Removable               bool
	Vendor, Product, Serial string
	Bus                     string // usb, sd, mmc, sata, nvme, …; "" where it isn't given
}

// QueryDescriptor is STORAGE_PROPERTY_QUERY for the descriptor of the device:
// PropertyId 0, QueryType 0, and a byte of parameters with its padding.
func QueryDescriptor() []byte { return make([]byte, 12) }

// buses are the names of STORAGE_BUS_TYPE.
var buses = map[uint32]string{
	1: "scsi", 2: "atapi", 3: "ata", 4: "ieee 1394", 5: "ssa", 6: "fibre channel", 7: "usb", 8: "raid", 9: "iscsi",
	10: "sas", 11: "sata", 12: "sd", 13: "mmc", 14: "virtual", 15: "file-backed virtual", 16: "storage spaces", 17: "nvme", 18: "scm", 19: "ufs",
}

// ParseDescriptor reads a STORAGE_DEVICE_DESCRIPTOR.
func ParseDescriptor(answer []byte) (Descriptor, error) {
	b := le(answer)
	bus, ok := b.u32(28)
	if !ok {
		return Descriptor{}, short("STORAGE_DEVICE_DESCRIPTOR", answer, 32)
	}
	vendor, _ := b.u32(12)
	product, _ := b.u32(16)
	serial, _ := b.u32(24)
	return Descriptor{
		Removable: b[10] != 0, Bus: buses[bus],
		Vendor: b.text(vendor), Product: b.text(product), Serial: b.text(serial),
	}, nil
}

// Geometry is the size of a drive and of its sectors, in bytes (DISK_GEOMETRY_EX).
type Geometry struct {
	Bytes     int64
	Sector    int
	Removable bool // of its medium
}

const removableMedia = 11 // MEDIA_TYPE's RemovableMedia

// ParseGeometry reads a DISK_GEOMETRY_EX.
func ParseGeometry(answer []byte) (Geometry, error) {
	b := le(answer)
	size, ok := b.i64(24)
	if !ok {
		return Geometry{}, short("DISK_GEOMETRY_EX", answer, 32)
	}
	media, _ := b.u32(8)
	sector, _ := b.u32(20)
	if size < 0 || sector == 0 || sector > 1<<16 || sector&(sector-1) != 0 {
		return Geometry{}, fmt.Errorf("DISK_GEOMETRY_EX: impossible size: %d bytes in sectors of %d", size, sector)
	}
	return Geometry{Bytes: size, Sector: int(sector), Removable: media == removableMedia}, nil
}

// ParseLength reads a GET_LENGTH_INFORMATION, in bytes.
func ParseLength(answer []byte) (int64, error) {
	size, ok := le(answer).i64(0)
	if !ok {
		return 0, short("GET_LENGTH_INFORMATION", answer, 8)
	}
	if size < 0 {
		return 0, fmt.Errorf("GET_LENGTH_INFORMATION: impossible size: %d bytes", size)
	}
	return size, nil
}

// ParseHotplug reads a STORAGE_HOTPLUG_INFO: whether the device can be
// unplugged, or its medium taken out, while the computer runs.
func ParseHotplug(answer []byte) (bool, error) {
	if len(answer) < 8 {
		return false, short("STORAGE_HOTPLUG_INFO", answer, 8)
	}
	return answer[4] != 0 || answer[5] != 0 || answer[6] != 0, nil
}

// Extent is a run of bytes on a drive.
type Extent struct {
	Drive         int
	Start, Length int64
}

// ParseExtents reads a VOLUME_DISK_EXTENTS: the parts of drives that a volume
// covers.
func ParseExtents(answer []byte) ([]Extent, error) {
	b := le(answer)
	count, ok := b.u32(0)
	if !ok {
		return nil, short("VOLUME_DISK_EXTENTS", answer, 8)
	}
	if count > MaxExtents {
		return nil, fmt.Errorf("VOLUME_DISK_EXTENTS: %d extents, expected at most %d", count, MaxExtents)
	}
	extents := make([]Extent, 0, count)
	for i := range int(count) {
		at := 8 + 24*i
		drive, _ := b.u32(at)
		start, _ := b.i64(at + 8)
		length, ok := b.i64(at + 16)
		switch {
		case !ok:
			return nil, short("VOLUME_DISK_EXTENTS", answer, at+24)
		case drive > maxNumber || start < 0 || length < 0 || start+length < 0:
			return nil, fmt.Errorf("VOLUME_DISK_EXTENTS: impossible extent: %d bytes from %d on drive %d", length, start, drive)
		}
		extents = append(extents, Extent{int(drive), start, length})
	}
	return extents, nil
}

// Layout is a drive's partitions (DRIVE_LAYOUT_INFORMATION_EX).
type Layout struct {
	Table string // dos, gpt; "" none
	Parts []Part
}

// Part is one partition.
type Part struct {
	Number        int
	Start, Length int64
}

var tables = map[uint32]string{0: "dos", 1: "gpt"} // PARTITION_STYLE; 2 is RAW

const (
	layoutHead = 48  // before the first PARTITION_INFORMATION_EX
	layoutPart = 144 // of one
)

// ParseLayout reads a DRIVE_LAYOUT_INFORMATION_EX. Entries without length are
// empty.
func ParseLayout(answer []byte) (Layout, error) {
	b := le(answer)
	style, _ := b.u32(0)
	count, ok := b.u32(4)
	if !ok {
		return Layout{}, short("DRIVE_LAYOUT_INFORMATION_EX", answer, layoutHead)
	}
	if count > MaxParts {
		return Layout{}, fmt.Errorf("DRIVE_LAYOUT_INFORMATION_EX: %d partitions, expected at most %d", count, MaxParts)
	}
	layout := Layout{Table: tables[style]}
	for i := range int(count) {
		at := layoutHead + layoutPart*i
		start, _ := b.i64(at + 8)
		length, _ := b.i64(at + 16)
		number, ok := b.u32(at + 24)
		switch {
		case !ok:
			return Layout{}, short("DRIVE_LAYOUT_INFORMATION_EX", answer, at+layoutPart)
		case start < 0 || length < 0 || start+length < 0 || number > maxNumber:
			return Layout{}, fmt.Errorf("DRIVE_LAYOUT_INFORMATION_EX: impossible partition %d: %d bytes from %d", number, length, start)
		case length > 0 && number > 0:
			layout.Parts = append(layout.Parts, Part{int(number), start, length})
		}
	}
	return layout, nil
}

func short(what string, answer []byte, least int) error {
	return fmt.Errorf("%s: the answer has %d bytes, expected %d", what, len(answer), least)
}
