package readers

import (
	"encoding/json"
	"fmt"
	"slices"

	"cardwright/media/windisk"
)

// windowsListing is what Windows answers about all drives, as it came.
type windowsListing struct {
	Disks   []windowsDisk   `json:"disks"`
	Volumes []windowsVolume `json:"volumes"`
}

// windowsDisk is what Windows answers about one drive. A missing answer is empty.
type windowsDisk struct {
	Number     int    `json:"number"`
	Empty      bool   `json:"empty"`      // a reader without a card
	Locked     *bool  `json:"locked"`     // against writing; nil: it doesn't say
	Descriptor []byte `json:"descriptor"` // STORAGE_DEVICE_DESCRIPTOR
	Geometry   []byte `json:"geometry"`   // DISK_GEOMETRY_EX
	Hotplug    []byte `json:"hotplug"`    // STORAGE_HOTPLUG_INFO
	Layout     []byte `json:"layout"`     // DRIVE_LAYOUT_INFORMATION_EX
}

// windowsVolume is what Windows answers about one volume.
type windowsVolume struct {
	Name       string   `json:"name"`   // \\?\Volume{…}\
	Places     []string `json:"places"` // letters and folders at which it is reached
	Extents    []byte   `json:"extents"`
	FileSystem string   `json:"file_system"`
	Label      string   `json:"label"`
	System     bool     `json:"system"` // Windows runs from it, starts from it or swaps to it
}

// ParseWindows reads the answers of Windows about its drives, in the JSON form of
// windowsListing.
func ParseWindows(listing []byte) ([]Drive, error) {
	drives, err := parseWindows(listing)
	if err != nil {
		return nil, fmt.Errorf("reading what Windows lists: %w", err)
	}
	return drives, nil
}

func parseWindows(listing []byte) ([]Drive, error) {
	if err := checkLength(listing); err != nil {
		return nil, err
	}
	var parsed windowsListing
	if err := json.Unmarshal(listing, &parsed); err != nil {
		return nil, err
	}
	return parsed.drives()
}

func (l windowsListing) drives() ([]Drive, error) {
	if len(l.Disks) > windisk.MaxDrives || len(l.Volumes) > maxDrives {
		return nil, fmt.Errorf("%d drives with %d volumes, expected at most %d with %d", len(l.Disks), len(l.Volumes), windisk.MaxDrives, maxDrives)
	}
	drives := make([]Drive, 0, len(l.Disks))
	count := &counter{}
	for _, disk := range l.Disks {
		d := l.drive(disk)
		finish(&d)
		if err := count.addAll(d); err != nil {
			return nil, err
		}
		drives = append(drives, d)
	}
	return drives, nil
}

func (l windowsListing) drive(disk windowsDisk) Drive {
	about, err1 := windisk.ParseDescriptor(disk.Descriptor)
	geometry, err2 := windisk.ParseGeometry(disk.Geometry)
	hotplug, err3 := windisk.ParseHotplug(disk.Hotplug)
	layout, err4 := windisk.ParseLayout(disk.Layout)
	d := Drive{
		Path: windisk.Path(disk.Number), Type: typeDisk,
		Transport: transportOf(about.Bus), Model: trimmed(about.Product), Vendor: trimmed(about.Vendor), Serial: trimmed(about.Serial),
		Bytes: geometry.Bytes, Removable: about.Removable && (geometry.Removable || disk.Empty), Table: layout.Table,
		ReadOnly: disk.Locked != nil && *disk.Locked, LetsGo: true,
		Unknown: missing(map[string]bool{
			"what it is": err1 == nil, "its bus": err1 != nil || about.Bus != "", "its size": err2 == nil || disk.Empty,
			"whether it can be unplugged": err3 == nil, "its partitions": err4 == nil || disk.Empty,
			"whether it is locked": disk.Locked != nil || disk.Empty,
		}),
	}
	d.HotPlug = hotplug && (d.Transport == transportUSB || d.Transport == transportSD)
	for _, p := range layout.Parts {
		d.Parts = append(d.Parts, Drive{
			Path: fmt.Sprintf("%s partition %d", d.Path, p.Number), Type: typePart, Bytes: p.Length,
		})
	}
	for _, v := range l.Volumes {
		v.addTo(&d, disk.Number, layout.Parts)
	}
	return d
}

// addTo adds a volume to its drive, or to the part that it begins in: its file
// system, and where it can be reached.
func (v windowsVolume) addTo(d *Drive, number int, parts []windisk.Part) {
	extents, err := windisk.ParseExtents(v.Extents)
	if err != nil {
		return // on no drive: an empty reader, a disc
	}
	for _, e := range extents {
		if e.Drive != number {
			continue
		}
		at := d
		if i := slices.IndexFunc(parts, func(p windisk.Part) bool { return e.Start >= p.Start && e.Start < p.Start+p.Length }); i >= 0 {
			at = &d.Parts[i]
		}
		at.FileSystem, at.Label, at.System = trimmed(v.FileSystem), trimmed(v.Label), at.System || v.System
		for _, place := range v.Places {
			at.Mounts = append(at.Mounts, trimmed(place))
		}
		if len(extents) > 1 { // a set of several drives, which isn't unmounted
			d.LetsGo = false
			at.Unknown = append(at.Unknown, "where else "+v.Name+" stands")
		}
	}
}
