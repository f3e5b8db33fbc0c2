// Package readers lists the drives of this computer, tells which of them are
// cards in a reader, and says whether one may be erased.
//
// The parsers are pure functions over the output of the system's own tool (lsblk on
// Linux, diskutil on macOS) or the answers of Windows' own calls. Names, labels and
// mount points come from strangers' cards: whoever shows them escapes them.
package readers

import (
	"slices"
	"strings"
)

// Drive is one drive as the system lists it, or a part of one.
type Drive struct {
	Path       string   `json:"path"`      // /dev/sdb, /dev/disk4, \\.\PHYSICALDRIVE2
	Type       string   `json:"type"`      // disk, part, loop, rom; or what the system calls it: crypt, lvm, raid1, virtual
	Transport  string   `json:"transport"` // usb, sd, mmc, sata, nvme, …; "" where the system doesn't say
	Model      string   `json:"model"`
	Vendor     string   `json:"vendor"`
	Serial     string   `json:"serial"` // of the reader, not the card, unless Card is there
	Bytes      int64    `json:"bytes"`  // 0: no card is in
	Removable  bool     `json:"removable"`
	HotPlug    bool     `json:"hot_plug"`
	ReadOnly   bool     `json:"read_only"`
	Table      string   `json:"table"` // of partitions: dos, gpt; "" none or not known
	FileSystem string   `json:"file_system"`
	Label      string   `json:"label"`
	Mounts     []string `json:"mounts"` // of this itself, not of its parts
	Swap       bool     `json:"swap"`
	System     bool     `json:"system"`            // holds a part of the running system, here or below
	Unknown    []string `json:"unknown"`           // what the system should have said and didn't
	LetsGo     bool     `json:"lets_go,omitempty"` // opening it for writing unmounts it, or is refused
	Card       *Card    `json:"card"`              // what the card says of itself, where the reader lets it through
	Parts      []Drive  `json:"parts"`             // partitions, and whatever is built on this
}

// InReader reports whether this looks like a reader, or a card in one, and is worth
// showing. Whether it may be erased is for MayErase to say.
func (d Drive) InReader() bool {
	switch d.Type {
	case typeDisk:
		return d.Removable || slices.Contains([]string{transportUSB, transportSD, transportMMC}, d.Transport)
	case typeLoop:
		return d.Bytes > 0
	}
	return false
}

// The types and transports that decide something. Every parser translates its
// system's words into these.
const (
	typeDisk = "disk"
	typePart = "part"
	typeLoop = "loop"

	transportUSB = "usb"
	transportSD  = "sd"  // a card in a reader that isn't on USB, as macOS and Windows say it
	transportMMC = "mmc" // Linux: a card in such a reader, or memory soldered to the board
)

// all are the drive and everything below it.
func (d Drive) all() []Drive {
	found := []Drive{d}
	for _, p := range d.Parts {
		found = append(found, p.all()...)
	}
	return found
}

// systemMounts are places that a running system can't do without.
var systemMounts = []string{
	"/", "/boot", "/boot/efi", "/efi", "/usr", "/var", "/home", "/nix", "/gnu", "/sysroot",
}

// systemFolders are folders below which only the system mounts anything.
var systemFolders = []string{"/System/Volumes/", "/run/live/", "/run/initramfs/", "/boot/"}

func isSystemMount(place string) bool {
	if slices.Contains(systemMounts, place) {
		return true
	}
	return slices.ContainsFunc(systemFolders, func(folder string) bool { return strings.HasPrefix(place, folder) })
}

// finish sets System on a drive and its parts by where they are mounted, and
// replaces missing lists by empty ones, for the JSON form.
func finish(d *Drive) {
	d.Mounts, d.Unknown, d.Parts = listOf(d.Mounts), listOf(d.Unknown), listOf(d.Parts)
	d.System = d.System || d.Swap || slices.ContainsFunc(d.Mounts, isSystemMount)
	for i := range d.Parts {
		finish(&d.Parts[i])
		d.System = d.System || d.Parts[i].System
	}
}

func listOf[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
