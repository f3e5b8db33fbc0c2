package readers

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// powerShellScript prints the listing that ParsePowerShell reads.
const powerShellScript = `$ErrorActionPreference = 'Stop'
$ProgressPreference = 'SilentlyContinue'
[Console]::OutputEncoding = New-Object System.Text.UTF8Encoding $false
@{
  disks = @(Get-Disk | Select-Object Number,FriendlyName,Manufacturer,SerialNumber,Size,
    @{n='BusType';e={"$($_.BusType)"}},@{n='PartitionStyle';e={"$($_.PartitionStyle)"}},IsBoot,IsSystem,IsReadOnly)
  drives = @(Get-CimInstance Win32_DiskDrive | Select-Object Index,MediaType)
  partitions = @(Get-Partition | Select-Object DiskNumber,PartitionNumber,Size,Type,IsBoot,IsSystem,
    @{n='AccessPaths';e={@($_.AccessPaths)}})
  volumes = @(Get-Volume | Select-Object Path,FileSystem,FileSystemLabel)
} | ConvertTo-Json -Depth 4 -Compress
`

type powerShellListing struct {
	Disks      *[]powerShellDisk      `json:"disks"`
	Drives     []powerShellDrive      `json:"drives"`
	Partitions *[]powerShellPartition `json:"partitions"`
	Volumes    []powerShellVolume     `json:"volumes"`
}

type powerShellDisk struct {
	Number         number
	FriendlyName   text
	Manufacturer   text
	SerialNumber   text
	Size           number
	BusType        text
	PartitionStyle text
	IsBoot         flag
	IsSystem       flag
	IsReadOnly     flag
}

type powerShellDrive struct {
	Index     number
	MediaType text
}

type powerShellPartition struct {
	DiskNumber      number
	PartitionNumber number
	Size            number
	Type            text
	IsBoot          flag
	IsSystem        flag
	AccessPaths     []text
}

type powerShellVolume struct {
	Path            text
	FileSystem      text
	FileSystemLabel text
}

// ParsePowerShell reads the JSON of disks, drives, partitions and volumes that
// this package's own script prints: Get-Disk, Win32_DiskDrive, Get-Partition
// and Get-Volume, with the bus and the partition style as texts.
func ParsePowerShell(listing []byte) ([]Drive, error) {
	drives, err := parsePowerShell(listing)
	if err != nil {
		return nil, fmt.Errorf("reading what PowerShell lists: %w", err)
	}
	return drives, nil
}

func parsePowerShell(listing []byte) ([]Drive, error) {
	if err := checkLength(listing); err != nil {
		return nil, err
	}
	var parsed powerShellListing
	if err := json.Unmarshal(bytes.TrimPrefix(listing, []byte("\xEF\xBB\xBF")), &parsed); err != nil {
		return nil, err
	}
	if parsed.Disks == nil || parsed.Partitions == nil {
		return nil, errors.New("expected lists named disks and partitions")
	}
	if len(*parsed.Disks)+len(*parsed.Partitions) > maxDrives {
		return nil, fmt.Errorf("the listing has more than %d drives and parts", maxDrives)
	}
	drives := make([]Drive, 0, len(*parsed.Disks))
	for _, disk := range *parsed.Disks {
		drives = append(drives, parsed.drive(disk))
	}
	return drives, nil
}

func (l powerShellListing) drive(disk powerShellDisk) Drive {
	d := Drive{
		Path:      fmt.Sprintf(`\\.\PHYSICALDRIVE%d`, disk.Number.value),
		Type:      typeDisk,
		Transport: transportOf(busName(disk.BusType.value)),
		Model:     disk.FriendlyName.value,
		Vendor:    disk.Manufacturer.value,
		Serial:    disk.SerialNumber.value,
		Bytes:     disk.Size.value,
		Removable: l.isRemovable(disk.Number.value),
		ReadOnly:  disk.IsReadOnly.value,
		System:    disk.IsBoot.value || disk.IsSystem.value,
		Table:     tableName(disk.PartitionStyle.value),
		Parts:     l.parts(disk.Number.value),
		Unknown: missing(map[string]bool{
			"Number": disk.Number.there, "Size": disk.Size.there, "BusType": disk.BusType.value != "",
			"IsBoot": disk.IsBoot.there, "IsSystem": disk.IsSystem.there, "IsReadOnly": disk.IsReadOnly.there,
		}),
	}
	d.HotPlug = d.Transport == transportUSB || d.Transport == transportSD
	settle(&d)
	return d
}

// busTypes are the numbers of MSFT_Disk.BusType that are ours to tell apart,
// where a PowerShell gives the number (documentation of the Storage module).
var busTypes = map[string]string{"7": "usb", "11": "sata", "12": "sd", "13": "mmc", "17": "nvme"}

func busName(bus string) string {
	if name := busTypes[bus]; name != "" {
		return name
	}
	return bus
}

func tableName(style string) string {
	switch strings.ToUpper(style) {
	case "MBR":
		return "dos"
	case "GPT":
		return "gpt"
	}
	return ""
}

func (l powerShellListing) isRemovable(number int64) bool {
	return slices.ContainsFunc(l.Drives, func(d powerShellDrive) bool {
		return d.Index.there && d.Index.value == number && d.MediaType.value == "Removable Media"
	})
}

func (l powerShellListing) parts(number int64) []Drive {
	var parts []Drive
	for _, p := range *l.Partitions {
		if p.DiskNumber.value != number {
			continue
		}
		part := Drive{
			Path:   fmt.Sprintf(`\\.\PHYSICALDRIVE%d partition %d`, number, p.PartitionNumber.value),
			Type:   typePart,
			Bytes:  p.Size.value,
			System: p.IsBoot.value || p.IsSystem.value,
		}
		l.addVolume(&part, p.AccessPaths)
		parts = append(parts, part)
	}
	return parts
}

// addVolume says what file system is on a part and where it can be reached: by
// a letter or folder; the volume's own name alone isn't a mount.
func (l powerShellListing) addVolume(part *Drive, places []text) {
	for _, place := range places {
		if !strings.HasPrefix(place.value, `\\?\`) {
			part.Mounts = append(part.Mounts, place.value)
			continue
		}
		for _, v := range l.Volumes {
			if v.Path.value == place.value {
				part.FileSystem, part.Label = v.FileSystem.value, v.FileSystemLabel.value
			}
		}
	}
}
