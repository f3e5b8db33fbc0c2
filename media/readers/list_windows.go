package readers

import (
	"context"
	"errors"
	"path/filepath"
	"strings"

	"golang.org/x/sys/windows"
	"golang.org/x/sys/windows/registry"

	"cardwright/media/windisk"
)

// listHere asks Windows, which answers without special rights.
func listHere(ctx context.Context) ([]Drive, error) {
	var l windowsListing
	for number := range windisk.MaxDrives {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if disk, there := askDisk(number); there {
			l.Disks = append(l.Disks, disk)
		}
	}
	volumes, err := askVolumes(ctx)
	if err != nil {
		return nil, err
	}
	l.Volumes = volumes
	return l.drives()
}

// openUnread opens a drive or volume to ask about it, not to read it.
func openUnread(path string) (windows.Handle, error) {
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return 0, err
	}
	return windows.CreateFile(name, 0, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE, nil, windows.OPEN_EXISTING, 0, 0)
}

func askDisk(number int) (windowsDisk, bool) {
	h, err := openUnread(windisk.Path(number))
	if errors.Is(err, windows.ERROR_FILE_NOT_FOUND) || errors.Is(err, windows.ERROR_PATH_NOT_FOUND) {
		return windowsDisk{}, false
	}
	d := windowsDisk{Number: number}
	if err != nil {
		return d, true // it is there and says nothing
	}
	defer windows.CloseHandle(h)
	_, err = ask(h, windisk.CheckVerify2, nil)
	d.Empty = errors.Is(err, windows.ERROR_NOT_READY) || errors.Is(err, windows.ERROR_NO_MEDIA_IN_DRIVE)
	d.Descriptor, _ = ask(h, windisk.QueryProperty, windisk.QueryDescriptor())
	d.Hotplug, _ = ask(h, windisk.HotplugInfo, nil)
	d.Geometry, _ = ask(h, windisk.DriveGeometryEx, nil)
	d.Layout, _ = ask(h, windisk.DriveLayoutEx, nil)
	switch _, err = ask(h, windisk.IsWritable, nil); {
	case err == nil:
		d.Locked = new(bool)
	case errors.Is(err, windows.ERROR_WRITE_PROTECT):
		locked := true
		d.Locked = &locked
	}
	return d, true
}

// ask is the answer of a device to a control code.
func ask(h windows.Handle, code uint32, question []byte) ([]byte, error) {
	answer := make([]byte, windisk.MaxAnswer)
	in := &answer[0]
	if len(question) > 0 {
		in = &question[0]
	}
	var n uint32
	err := windows.DeviceIoControl(h, code, in, uint32(len(question)), &answer[0], uint32(len(answer)), &n, nil)
	if err != nil {
		return nil, err
	}
	return answer[:n], nil
}

func askVolumes(ctx context.Context) ([]windowsVolume, error) {
	name := make([]uint16, windows.MAX_PATH)
	search, err := windows.FindFirstVolume(&name[0], uint32(len(name)))
	if err != nil {
		return nil, err
	}
	defer windows.FindVolumeClose(search)
	system := systemPlaces()
	var volumes []windowsVolume
	for len(volumes) <= maxDrives {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		volumes = append(volumes, askVolume(windows.UTF16ToString(name), system))
		if err := windows.FindNextVolume(search, &name[0], uint32(len(name))); errors.Is(err, windows.ERROR_NO_MORE_FILES) {
			return volumes, nil
		} else if err != nil {
			return nil, err
		}
	}
	return volumes, nil // too many: drives says so
}

func askVolume(name string, system []string) windowsVolume {
	v := windowsVolume{Name: name, Places: placesOf(name)}
	if h, err := openUnread(windisk.VolumePath(name)); err == nil {
		v.Extents, _ = ask(h, windisk.VolumeExtents, nil)
		_ = windows.CloseHandle(h)
	}
	root, err := windows.UTF16PtrFromString(name)
	if err != nil {
		return v
	}
	label, fileSystem := make([]uint16, windows.MAX_PATH), make([]uint16, windows.MAX_PATH)
	err = windows.GetVolumeInformation(root, &label[0], uint32(len(label)), nil, nil, nil, &fileSystem[0], uint32(len(fileSystem)))
	if err == nil {
		v.Label, v.FileSystem = windows.UTF16ToString(label), windows.UTF16ToString(fileSystem)
	}
	for _, place := range append(v.Places, deviceOf(name)) {
		for _, s := range system {
			v.System = v.System || place != "" && strings.EqualFold(place, s)
		}
	}
	return v
}

func placesOf(volume string) []string {
	name, err := windows.UTF16PtrFromString(volume)
	if err != nil {
		return nil
	}
	list := make([]uint16, windows.MAX_LONG_PATH)
	var n uint32
	if err := windows.GetVolumePathNamesForVolumeName(name, &list[0], uint32(len(list)), &n); err != nil {
		return nil
	}
	return windisk.Texts(list[:min(int(n), len(list))])
}

// deviceOf is a volume's name within the system, \Device\HarddiskVolume1.
func deviceOf(volume string) string {
	name, err := windows.UTF16PtrFromString(strings.Trim(strings.TrimPrefix(volume, `\\?\`), `\`))
	if err != nil {
		return ""
	}
	target := make([]uint16, windows.MAX_PATH)
	if _, err := windows.QueryDosDevice(name, &target[0], uint32(len(target))); err != nil {
		return ""
	}
	return windows.UTF16ToString(target)
}

// systemPlaces are where Windows runs from, starts from and swaps to.
func systemPlaces() []string {
	var places []string
	if dir, err := windows.GetSystemWindowsDirectory(); err == nil {
		places = append(places, filepath.VolumeName(dir)+`\`)
	}
	if key, err := registry.OpenKey(registry.LOCAL_MACHINE, `SYSTEM\Setup`, registry.QUERY_VALUE); err == nil {
		if device, _, err := key.GetStringValue("SystemPartition"); err == nil {
			places = append(places, device)
		}
		_ = key.Close()
	}
	memory := `SYSTEM\CurrentControlSet\Control\Session Manager\Memory Management`
	if key, err := registry.OpenKey(registry.LOCAL_MACHINE, memory, registry.QUERY_VALUE); err == nil {
		files, _, _ := key.GetStringsValue("ExistingPageFiles")
		for _, file := range files {
			places = append(places, filepath.VolumeName(strings.TrimPrefix(file, `\??\`))+`\`)
		}
		_ = key.Close()
	}
	return places
}

// toolsOf is where a tool of the system comes from.
const toolsOf = "a part of Windows"
