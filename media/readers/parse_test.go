package readers_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/readers"
)

func find(t *testing.T, drives []readers.Drive, path string) readers.Drive {
	t.Helper()
	at := slices.IndexFunc(drives, func(d readers.Drive) bool { return d.Path == path })
	require.GreaterOrEqual(t, at, 0, path)
	return drives[at]
}

func TestLsblkOldAndNew(t *testing.T) {
	want := readers.Drive{
		Path: "/dev/sdb", Type: "disk", Transport: "usb", Model: "Solo Reader", Vendor: "Ossel", Bytes: 31_914_983_424,
		Removable: true, HotPlug: true, Mounts: []string{}, Unknown: []string{},
		Parts: []readers.Drive{{
			Path: "/dev/sdb1", Type: "part", Bytes: 31_910_789_120, Removable: true, HotPlug: true,
			FileSystem: "vfat", Label: "SKERRY", Mounts: []string{}, Unknown: []string{}, Parts: []readers.Drive{},
		}},
	}
	assert.Equal(t, want, find(t, parse(t, "linux-old-texts"), "/dev/sdb"))

	d := find(t, parse(t, "linux-usb-readers"), "/dev/sdb")
	assert.Equal(t, "R4-000117", d.Serial)
	assert.Equal(t, "dos", d.Table)
	assert.Equal(t, "KITTIWAKE", d.Parts[0].Label)

	system := find(t, parse(t, "linux-nvme-sata"), "/dev/nvme0n1")
	assert.True(t, system.System)
	assert.Equal(t, []string{"/", "/home", "/var/lib/machines"}, system.Parts[1].Mounts, "all places, not the first only")
	assert.True(t, system.Parts[2].Swap)
	assert.Empty(t, system.Parts[2].Mounts)

	deep := find(t, parse(t, "linux-lvm-luks-raid"), "/dev/nvme0n1")
	assert.Equal(t, "/dev/mapper/cellar-root", deep.Parts[1].Parts[0].Parts[0].Path)
	assert.True(t, deep.System)
}

func TestNativeReaderIsKnownWithoutTransport(t *testing.T) {
	for _, name := range []string{"linux-native-mmc", "linux-old-texts"} {
		for _, d := range parse(t, name) {
			if strings.Contains(d.Path, "mmcblk") {
				assert.Equal(t, "mmc", d.Transport, d.Path)
				assert.True(t, d.InReader())
			}
		}
	}
}

func TestDiskutil(t *testing.T) {
	drives := parse(t, "macos-cards")
	system := find(t, drives, "/dev/disk0")
	assert.True(t, system.System, "the system's volumes are in a container on one of its parts")
	assert.Equal(t, "/dev/disk1", system.Parts[1].Parts[0].Path)
	assert.Equal(t, "gpt", system.Table)

	card := find(t, drives, "/dev/disk2")
	assert.Equal(t, "sd", card.Transport)
	assert.Equal(t, "Built In SDXC Reader Media", card.Model)
	assert.Equal(t, "dos", card.Table)
	assert.Equal(t, "KITTIWAKE", card.Parts[0].Label)
	assert.EqualValues(t, 31_914_983_424, card.Bytes)

	assert.True(t, find(t, drives, "/dev/disk5").ReadOnly)
	assert.Equal(t, "CHARTS & PLANS", find(t, drives, "/dev/disk5").Label)
}

func TestWindows(t *testing.T) {
	drives := parse(t, "windows-cards")
	system := drives[0]
	assert.True(t, system.System)
	assert.Equal(t, []string{`C:\`}, system.Parts[1].Mounts)
	assert.Equal(t, "NTFS", system.Parts[1].FileSystem)
	assert.Equal(t, "gpt", system.Table)
	card := drives[1]
	assert.Equal(t, "KITTIWAKE", card.Parts[0].Label)
	assert.Equal(t, "Tarnwick", card.Vendor)
	assert.Equal(t, "Tarnwick Solo Reader", card.Model)
	assert.Equal(t, "S1-9", card.Serial)
	assert.EqualValues(t, 31_914_983_424, card.Bytes)
	assert.Empty(t, card.Parts[0].Mounts, "a volume's own name is no mount")
	assert.Equal(t, []string{`E:\`}, drives[2].Parts[0].Mounts)
	verdict := readers.MayErase(drives[2], readers.UsualLimits)
	assert.Contains(t, verdict.Reasons, `is unmounted first, from E:\, unless something uses it`)
	assert.Zero(t, drives[3].Bytes)
	assert.True(t, drives[3].InReader())
}

// A volume of two drives is part of something bigger: neither is a card.
func TestWindowsVolumeOfTwoDrives(t *testing.T) {
	var l map[string][]map[string]any
	require.NoError(t, json.Unmarshal(listing(t, "windows-cards.json"), &l))
	extents := binary.LittleEndian.AppendUint32(nil, 2)
	extents = append(extents, 0, 0, 0, 0)
	for _, drive := range []uint64{1, 2} { // a number with its padding, a start, a length
		for _, n := range []uint64{drive, 4 << 20, 1 << 30} {
			extents = binary.LittleEndian.AppendUint64(extents, n)
		}
	}
	l["volumes"] = append(l["volumes"], map[string]any{"name": `\\?\Volume{9}\`, "places": []string{`S:\`}, "extents": extents})
	text, err := json.Marshal(l)
	require.NoError(t, err)
	drives, err := readers.ParseWindows(text)
	require.NoError(t, err)
	for _, d := range drives[1:3] {
		verdict := readers.MayErase(d, readers.UsualLimits)
		assert.False(t, verdict.OK)
		assert.Contains(t, strings.Join(verdict.Reasons, "; "), `is mounted at S:\`)
	}
}

func TestInReader(t *testing.T) {
	var shown []string
	for _, name := range []string{"linux-usb-readers", "linux-nvme-sata", "linux-loops"} {
		for _, d := range parse(t, name) {
			if d.InReader() {
				shown = append(shown, strings.TrimPrefix(d.Path, "/dev/"))
			}
		}
	}
	assert.Equal(t, "sda sdb sdc sdd sde sdf sdg sdh sdi sdj fd0 loop0 sdb loop0 loop1 loop2 loop3", strings.Join(shown, " "))
}

func TestDrivesHaveAJSONForm(t *testing.T) {
	text, err := json.Marshal(find(t, parse(t, "linux-old-texts"), "/dev/sdc"))
	require.NoError(t, err)
	assert.JSONEq(t, `{"path":"/dev/sdc","type":"disk","transport":"usb","model":"Quad Reader CF","vendor":"Tarnwick","serial":"",
		"bytes":0,"removable":true,"hot_plug":true,"read_only":false,"table":"","file_system":"","label":"","mounts":[],
		"swap":false,"system":false,"unknown":[],"card":null,"parts":[]}`, string(text))
}

// One odd drive doesn't hide the others, and is nothing that may be erased.
func TestOddDriveIsUnknown(t *testing.T) {
	drives, err := readers.ParseLsblk([]byte(`{"blockdevices":[
		{"name":"sda"},
		{"name":"sdb","type":"disk","size":-1,"rm":"perhaps","ro":null,"hotplug":[],"tran":{},"fstype":7,"mountpoint":null}]}`))
	require.NoError(t, err)
	require.Len(t, drives, 2)
	assert.Equal(t, []string{"fstype", "hotplug", "mountpoint", "rm", "ro", "size", "tran", "type"}, drives[0].Unknown)
	assert.Equal(t, []string{"hotplug", "rm", "ro", "size", "tran"}, drives[1].Unknown)
}

func TestListingsThatAreRefused(t *testing.T) {
	deepJSON := func(depth int) string {
		return `{"blockdevices":[` + strings.Repeat(`{"name":"x","children":[`, depth) + `{"name":"x"}` + strings.Repeat(`]}`, depth) + `]}`
	}
	manyJSON := `{"blockdevices":[` + strings.Repeat(`{"name":"x"},`, 4096) + `{"name":"x"}]}`
	for name, text := range map[string]string{
		"empty": "", "not JSON": "sda disk", "another JSON": `{"disks":[]}`, "null": `{"blockdevices":null}`,
		"deep": deepJSON(16), "very deep": deepJSON(20_000), "many": manyJSON,
		"long": `{"blockdevices":[]}` + strings.Repeat(" ", 4<<20),
	} {
		_, err := readers.ParseLsblk([]byte(text))
		assert.ErrorContains(t, err, "reading what lsblk lists: ", name)
	}
	_, err := readers.ParseLsblk([]byte(deepJSON(15)))
	require.NoError(t, err)

	list := func(body string) string {
		return "<plist><dict><key>AllDisksAndPartitions</key>" + body + "</dict></plist>"
	}
	disk := `<dict><key>DeviceIdentifier</key><string>disk0</string></dict>`
	for name, text := range map[string]string{
		"empty": "", "no list": "<plist><dict/></plist>", "not a dict": "<plist><array/></plist>",
		"unfinished": "<plist><dict><key>AllDisksAndPartitions</key>", "no value": list(""),
		"no identifier":          list("<array><dict/></array>"),
		"identifier of mischief": list("<array><dict><key>DeviceIdentifier</key><string>disk1 -x</string></dict></array>"),
		"unknown element":        list("<array><thing/></array>"),
		"element in text":        list("<array><string><dict/></string></array>"),
		"number of mischief":     list("<integer>ten</integer>"),
		"deep":                   list(strings.Repeat("<array>", 200_000)),
		"many":                   list("<array>" + strings.Repeat(disk, 4097) + "</array>"),
	} {
		_, err := readers.ParseDiskutil([]byte(text), nil)
		assert.ErrorContains(t, err, "reading what diskutil lists: ", name)
	}
	_, err = readers.ParseDiskutil([]byte(list("<array>"+disk+"</array>")), map[string][]byte{"disk0": []byte("<plist>")})
	require.ErrorContains(t, err, "disk0: ")

	manyDisks := `{"disks":[` + strings.Repeat(`{},`, 128) + `{}]}`
	for name, text := range map[string]string{"empty": "", "not bytes": `{"disks":[{"layout":"?"}]}`, "many": manyDisks} {
		_, err := readers.ParseWindows([]byte(text))
		assert.ErrorContains(t, err, "reading what Windows lists: ", name)
	}
}

// A container that claims to be built upon itself, and ones that are built upon
// one another, end.
func TestDriveHangingBelowItself(t *testing.T) {
	entry := func(id, store string) string {
		return fmt.Sprintf(`<dict><key>DeviceIdentifier</key><string>%s</string>
			<key>APFSPhysicalStores</key><array>%s</array>
			<key>Partitions</key><array><dict><key>DeviceIdentifier</key><string>%ss1</string></dict></array></dict>`, id,
			strings.Repeat(`<dict><key>DeviceIdentifier</key><string>`+store+`s1</string></dict>`, 3), id)
	}
	list := "<plist><dict><key>AllDisksAndPartitions</key><array>" +
		entry("disk0", "disk0") + entry("disk1", "disk2") + entry("disk2", "disk1") + "</array></dict></plist>"
	drives, err := readers.ParseDiskutil([]byte(list), nil)
	require.NoError(t, err)
	require.Len(t, drives, 3)
	assert.Len(t, drives[0].Parts[0].Parts, 3)
}

func TestTextsAreCutAndValid(t *testing.T) {
	long := strings.Repeat("ä", 4000)
	drives, err := readers.ParseLsblk([]byte(`{"blockdevices":[{"name":"sda","label":"` + long + `","model":"  x\u0000 "}]}`))
	require.NoError(t, err)
	assert.Equal(t, strings.Repeat("ä", 512), drives[0].Label)
}

func FuzzParseLsblk(f *testing.F) {
	for name := range verdicts {
		if strings.HasPrefix(name, "linux-") {
			f.Add(listing(f, name+".json"))
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if drives, err := readers.ParseLsblk(text); err == nil {
			checkDrives(t, drives)
		}
	})
}

// Wherever in a letter of one to four bytes the cut falls, it is left out.
func TestTextsAreCutBetweenLetters(t *testing.T) {
	for _, letter := range []string{"a", "é", "�", "😀"} {
		for shift := range 4 {
			name := strings.Repeat("x", shift) + strings.Repeat(letter, 1100)
			drives, err := readers.ParseLsblk([]byte(`{"blockdevices":[{"path":"/dev/sda","type":"disk","model":"` + name + `"}]}`))
			require.NoError(t, err)
			got := drives[0].Model
			assert.True(t, utf8.ValidString(got), "%q %d", letter, shift)
			assert.True(t, strings.HasPrefix(name, got))
			assert.Greater(t, len(got), 1024-4)
			assert.LessOrEqual(t, len(got), 1024)
		}
	}
}

func FuzzParseDiskutil(f *testing.F) {
	list, info := macListing(f, "macos-cards")
	for _, id := range []string{"disk0", "disk1", "disk2", "disk5"} {
		f.Add(list, info[id])
	}
	f.Fuzz(func(t *testing.T, list, about []byte) {
		if drives, err := readers.ParseDiskutil(list, map[string][]byte{"disk0": about, "disk2": about}); err == nil {
			checkDrives(t, drives)
		}
	})
}

func FuzzParseWindows(f *testing.F) {
	f.Add(listing(f, "windows-cards.json"))
	f.Add(listing(f, "windows-system-on-usb.json"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if drives, err := readers.ParseWindows(text); err == nil {
			checkDrives(t, drives)
		}
	})
}

// checkDrives: whatever was read has a JSON form that reads back the same, and
// a drive that may be erased bears looking at by a second, plainer pair of eyes.
func checkDrives(t *testing.T, drives []readers.Drive) {
	t.Helper()
	text, err := json.Marshal(drives)
	require.NoError(t, err)
	var again []readers.Drive
	require.NoError(t, json.Unmarshal(text, &again))
	twice, err := json.Marshal(again)
	require.NoError(t, err)
	require.True(t, bytes.Equal(text, twice))
	for i, d := range drives {
		verdict := readers.MayErase(d, readers.UsualLimits)
		require.NotEmpty(t, verdict.Reasons)
		if !verdict.OK {
			continue
		}
		whole, err := json.Marshal(again[i])
		require.NoError(t, err)
		never := []string{`"swap":true`, `"system":true`, `_member"`, `"type":"crypt"`}
		if !d.LetsGo {
			never = append(never, `"mounts":["`)
		}
		for _, never := range never {
			require.NotContains(t, string(whole), never)
		}
		require.False(t, d.ReadOnly)
		require.True(t, d.Type == "loop" || d.Removable && d.HotPlug, "%+v", d)
		require.True(t, d.Bytes >= 3_680_000_000 && d.Bytes <= 33_600_000_000, "%d", d.Bytes)
	}
}
