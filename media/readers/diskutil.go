package readers

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ParseDiskutil reads the output of `diskutil list -plist` and, for every whole
// drive in it by its identifier (disk4), that of `diskutil info -plist`. A drive
// that is built on parts of another (APFS) is also listed below these parts.
func ParseDiskutil(list []byte, info map[string][]byte) ([]Drive, error) {
	drives, err := parseDiskutil(list, info)
	if err != nil {
		return nil, fmt.Errorf("reading what diskutil lists: %w", err)
	}
	return drives, nil
}

// dict is one dict of a property list. What is missing, or of another type, reads
// as empty.
type dict map[string]any

func (d dict) text(key string) string { s, _ := d[key].(string); return s }
func (d dict) flag(key string) bool   { b, _ := d[key].(bool); return b }
func (d dict) has(key string) bool    { _, ok := d[key].(bool); return ok }
func (d dict) number(key string) int64 {
	n, _ := d[key].(int64)
	return n
}

func (d dict) dicts(key string) []dict {
	array, _ := d[key].([]any)
	var found []dict
	for _, value := range array {
		if one, ok := value.(map[string]any); ok {
			found = append(found, one)
		}
	}
	return found
}

func diskutilEntries(list []byte) ([]dict, error) {
	value, err := parsePlist(list)
	if err != nil {
		return nil, err
	}
	root, ok := value.(map[string]any)
	if !ok || root["AllDisksAndPartitions"] == nil {
		return nil, errors.New("expected a list named AllDisksAndPartitions, found none")
	}
	entries := dict(root).dicts("AllDisksAndPartitions")
	if len(entries) > maxDrives {
		return nil, fmt.Errorf("the listing has more than %d drives", maxDrives)
	}
	for _, e := range entries {
		if !isIdentifier(e.text("DeviceIdentifier")) {
			return nil, fmt.Errorf("expected an identifier such as disk4, found %.40q", e.text("DeviceIdentifier"))
		}
	}
	return entries, nil
}

// isIdentifier lets only a plain name become an argument of diskutil.
func isIdentifier(id string) bool {
	number, ok := strings.CutPrefix(id, "disk")
	return ok && number != "" && len(number) < 10 && strings.Trim(number, "0123456789") == ""
}

func parseDiskutil(list []byte, info map[string][]byte) ([]Drive, error) {
	entries, err := diskutilEntries(list)
	if err != nil {
		return nil, err
	}
	count := &counter{}
	var drives []Drive
	for _, e := range entries {
		d, err := diskutilDrive(e, info[e.text("DeviceIdentifier")])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", e.text("DeviceIdentifier"), err)
		}
		if err := count.addAll(d); err != nil {
			return nil, err
		}
		drives = append(drives, d)
	}
	if err := nestContainers(drives, entries, count); err != nil {
		return nil, err
	}
	for i := range drives {
		finish(&drives[i])
	}
	return drives, nil
}

// diskutilDrive is one drive. A drive that has been unplugged since has no info.
func diskutilDrive(e dict, info []byte) (Drive, error) {
	about := dict{}
	if len(info) > 0 {
		value, err := parsePlist(info)
		if err != nil {
			return Drive{}, err
		}
		about, _ = value.(map[string]any)
	}
	d := diskutilPart(e, typeDisk)
	addInfo(&d, about)
	for _, key := range []string{"Partitions", "APFSVolumes"} {
		for _, part := range e.dicts(key) {
			d.Parts = append(d.Parts, diskutilPart(part, typePart))
		}
	}
	return d, nil
}

func diskutilPart(e dict, kind string) Drive {
	d := Drive{
		Path:       "/dev/" + e.text("DeviceIdentifier"),
		Type:       kind,
		Bytes:      e.number("Size"),
		FileSystem: e.text("Content"),
		Label:      e.text("VolumeName"),
		Swap:       e.text("Content") == "Apple_Swap",
	}
	if place := e.text("MountPoint"); place != "" {
		d.Mounts = []string{place}
	}
	return d
}

// tables are the partition tables, by what macOS calls the content of a whole
// drive.
var tables = map[string]string{"FDisk_partition_scheme": "dos", "GUID_partition_scheme": "gpt", "Apple_partition_scheme": "mac"}

// transports are the transports, by what macOS and Windows call a bus.
var transports = map[string]string{
	"usb": transportUSB, "secure digital": transportSD, "sd": transportSD, "mmc": transportMMC,
	"pci-express": "nvme", "apple fabric": "nvme", "nvme": "nvme", "disk image": "image",
}

func transportOf(bus string) string {
	bus = strings.ToLower(bus)
	if known := transports[bus]; known != "" {
		return known
	}
	return bus
}

// addInfo adds what `diskutil info` says of a whole drive.
func addInfo(d *Drive, about dict) {
	d.Removable, d.HotPlug = about.flag("RemovableMedia"), about.flag("RemovableMediaOrExternalDevice")
	d.ReadOnly = !about.flag("WritableMedia")
	d.Transport = transportOf(about.text("BusProtocol"))
	d.Model = about.text("MediaName")
	d.LetsGo = true
	d.Unknown = missing(map[string]bool{
		"RemovableMedia":                 about.has("RemovableMedia"),
		"RemovableMediaOrExternalDevice": about.has("RemovableMediaOrExternalDevice"),
		"WritableMedia":                  about.has("WritableMedia"),
		"BusProtocol":                    d.Transport != "",
		"Size":                           d.Bytes >= 0 && d.Bytes <= maxBytes,
	})
	if about.text("VirtualOrPhysical") != "Physical" {
		d.Type = "virtual"
	}
	if table := tables[d.FileSystem]; table != "" {
		d.Table, d.FileSystem = table, ""
	}
}

// nestContainers puts every drive that is built on parts of others below these
// parts.
func nestContainers(drives []Drive, entries []dict, count *counter) error {
	built := map[string][]Drive{}
	for i, e := range entries {
		// A copy: a hostile listing could put a drive below itself.
		container := drives[i]
		container.Parts = slices.Clone(container.Parts)
		for _, store := range e.dicts("APFSPhysicalStores") {
			if err := count.addAll(container); err != nil {
				return err
			}
			path := "/dev/" + store.text("DeviceIdentifier")
			built[path] = append(built[path], container)
		}
	}
	return nestBelow(drives, built, count)
}

func nestBelow(drives []Drive, built map[string][]Drive, count *counter) error {
	for i := range drives {
		for j := range drives[i].Parts {
			part := &drives[i].Parts[j]
			for _, container := range built[part.Path] {
				if err := count.addAll(container); err != nil {
					return err
				}
				part.Parts = append(part.Parts, container)
			}
		}
	}
	return nil
}
