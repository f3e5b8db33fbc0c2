package readers

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// lsblkArguments make lsblk print empty slots and every column: those that an older
// lsblk doesn't know can't be asked for by name.
var lsblkArguments = []string{"--json", "--bytes", "--output-all", "--all"}

type lsblkDevice struct {
	Name       text          `json:"name"`
	Path       text          `json:"path"`
	Type       text          `json:"type"`
	Size       number        `json:"size"`
	Model      text          `json:"model"`
	Serial     text          `json:"serial"`
	Vendor     text          `json:"vendor"`
	Tran       text          `json:"tran"`
	Removable  flag          `json:"rm"`
	HotPlug    flag          `json:"hotplug"`
	ReadOnly   flag          `json:"ro"`
	Mount      text          `json:"mountpoint"`
	Mounts     *[]text       `json:"mountpoints"` // from 2.37 on
	FSType     text          `json:"fstype"`
	Label      text          `json:"label"`
	PTType     text          `json:"pttype"`
	Subsystems text          `json:"subsystems"`
	Children   []lsblkDevice `json:"children"`
}

// ParseLsblk reads the JSON of lsblk, with sizes in bytes, of util-linux 2.27
// (texts only) and later (numbers and truth values). Loop drives without a file are
// left out.
func ParseLsblk(listing []byte) ([]Drive, error) {
	drives, err := parseLsblk(listing)
	if err != nil {
		return nil, fmt.Errorf("reading what lsblk lists: %w", err)
	}
	return drives, nil
}

func parseLsblk(listing []byte) ([]Drive, error) {
	if err := checkLength(listing); err != nil {
		return nil, err
	}
	var parsed struct {
		Devices *[]lsblkDevice `json:"blockdevices"`
	}
	if err := json.Unmarshal(listing, &parsed); err != nil {
		return nil, err
	}
	if parsed.Devices == nil {
		return nil, errors.New("expected a list named blockdevices, found none")
	}
	drives, err := lsblkDrives(*parsed.Devices, &counter{}, 1)
	if err != nil {
		return nil, err
	}
	for i := range drives {
		finish(&drives[i])
	}
	return slices.DeleteFunc(drives, func(d Drive) bool { return d.Type == typeLoop && d.Bytes == 0 }), nil
}

func lsblkDrives(devices []lsblkDevice, t *counter, depth int) ([]Drive, error) {
	drives := make([]Drive, 0, len(devices))
	for _, device := range devices {
		if err := t.add(depth); err != nil {
			return nil, err
		}
		parts, err := lsblkDrives(device.Children, t, depth+1)
		if err != nil {
			return nil, err
		}
		d := device.drive()
		d.Parts = parts
		drives = append(drives, d)
	}
	return drives, nil
}

func (l lsblkDevice) drive() Drive {
	return Drive{
		Path:       l.path(),
		Type:       l.Type.value,
		Transport:  l.transport(),
		Model:      l.Model.value,
		Vendor:     l.Vendor.value,
		Serial:     l.Serial.value,
		Bytes:      l.Size.value,
		Removable:  l.Removable.value,
		HotPlug:    l.HotPlug.value,
		ReadOnly:   l.ReadOnly.value,
		Table:      l.PTType.value,
		FileSystem: l.FSType.value,
		Label:      l.Label.value,
		Mounts:     l.mounts(),
		Swap:       slices.Contains(l.allMounts(), swapMount) || l.FSType.value == "swap",
		Unknown:    l.unknown(),
	}
}

// unknown are the missing columns among those that decide whether a drive may be
// erased: a missing column must not pass for a harmless one.
func (l lsblkDevice) unknown() []string {
	return missing(map[string]bool{
		"name": l.Name.value != "", "type": l.Type.value != "", "size": l.Size.there,
		"rm": l.Removable.there, "ro": l.ReadOnly.there, "hotplug": l.HotPlug.there,
		"tran": l.Tran.there, "fstype": l.FSType.there, "mountpoint": l.Mount.there || l.Mounts != nil,
	})
}

func (l lsblkDevice) path() string {
	if l.Path.value != "" {
		return l.Path.value
	}
	return "/dev/" + strings.ReplaceAll(l.Name.value, "!", "/")
}

// transport recognises a native card reader by its subsystem where lsblk names no
// transport, as before util-linux 2.39.
func (l lsblkDevice) transport() string {
	onMMC := slices.Contains(strings.Split(l.Subsystems.value, ":"), "mmc") || strings.HasPrefix(l.Name.value, "mmcblk")
	if l.Tran.value == "" && onMMC {
		return transportMMC
	}
	return strings.ToLower(l.Tran.value)
}

const swapMount = "[SWAP]"

func (l lsblkDevice) allMounts() []string {
	found := []string{l.Mount.value}
	if l.Mounts != nil {
		for _, m := range *l.Mounts {
			found = append(found, m.value)
		}
	}
	return found
}

func (l lsblkDevice) mounts() []string {
	found := slices.DeleteFunc(l.allMounts(), func(place string) bool { return place == "" || place == swapMount })
	slices.Sort(found)
	return slices.Compact(found)
}
