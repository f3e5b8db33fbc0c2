package readers_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/readers"
)

const listings = "../../testdata/listings"

func listing(t testing.TB, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(listings, name))
	require.NoError(t, err)
	return content
}

// parse reads a saved listing of any system.
func parse(t testing.TB, name string) []readers.Drive {
	t.Helper()
	var drives []readers.Drive
	var err error
	switch {
	case strings.HasPrefix(name, "linux-"):
		drives, err = readers.ParseLsblk(listing(t, name+".json"))
	case strings.HasPrefix(name, "macos-"):
		drives, err = readers.ParseDiskutil(macListing(t, name))
	default:
		drives, err = readers.ParseWindows(listing(t, name+".json"))
	}
	require.NoError(t, err)
	return drives
}

func macListing(t testing.TB, name string) (list []byte, info map[string][]byte) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(listings, name+"-disk*.plist"))
	require.NoError(t, err)
	info = map[string][]byte{}
	for _, file := range files {
		id := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(file), name+"-"), ".plist")
		info[id] = listing(t, filepath.Base(file))
	}
	return listing(t, name+"-list.plist"), info
}

// Every drive of every saved listing, with what is said of it: "" where it may
// be erased, else a part of what speaks against it. The sizes accepted are
// 4 to 32 GB.
var verdicts = map[string]map[string]string{
	"linux-nvme-sata": {
		"/dev/loop0":   "is in use: /dev/loop0 is mounted at /snap/core/1",
		"/dev/sda":     "connected by sata",
		"/dev/sdb":     "connected by sata", // calls itself removable; no more than that speaks for it
		"/dev/sr0":     "not a whole drive but rom",
		"/dev/zram0":   "connected by something unknown",
		"/dev/nvme0n1": "connected by nvme",
	},
	"linux-usb-readers": {
		"/dev/nvme0n1": "connected by nvme",
		"/dev/sda":     "has no card in it",
		"/dev/sdb":     "",
		"/dev/sdc":     "/dev/sdc is mounted at /media/workbench/CHARTS", // the whole drive, without partitions
		"/dev/sdd":     "/dev/sdd1 is mounted at /media/workbench/SKERRY",
		"/dev/sde":     "write-protected: slide the lock switch",
		"/dev/sdf":     "too big: it holds 63.86 GB, and the devices take 32 GB or less",
		"/dev/sdg":     "too small: it holds 2.003 GB, and the devices take 4 GB or more",
		"/dev/sdh":     "not a removable medium",
		"/dev/sdi":     "not a removable medium", // the size of a card, but a disk in a case
		"/dev/sdj":     "can't be unplugged",     // flags that contradict each other
		"/dev/sr0":     "not a whole drive but rom",
		"/dev/fd0":     "connected by something unknown",
	},
	"linux-native-mmc": {
		"/dev/mmcblk0":      "doesn't say whether it is a card", // List adds the card's own word
		"/dev/mmcblk0boot0": "doesn't say whether it is a card",
		"/dev/mmcblk0boot1": "doesn't say whether it is a card",
		"/dev/mmcblk1":      "doesn't say whether it is a card",
		"/dev/mmcblk2":      "doesn't say whether it is a card",
	},
	"linux-lvm-luks-raid": {
		"/dev/nvme0n1": "connected by nvme",
		"/dev/sda":     "something bigger or encrypted: crypto_LUKS on /dev/sda1",
		"/dev/sdb":     "in use: /dev/mapper/vault-box (lvm) is built on it",
		"/dev/sdc":     "/dev/md0 is mounted at /srv/pair",
		"/dev/sdd":     "something bigger or encrypted: zfs_member on /dev/sdd1",
		"/dev/sde":     "running system",
	},
	"linux-system-on-usb": {
		"/dev/sda": "running system",
		"/dev/sdb": "",
		"/dev/sdc": "running system",
	},
	"linux-loops": {
		"/dev/loop0": "",
		"/dev/loop1": "/dev/loop1p1 is mounted at /mnt/card",
		"/dev/loop2": "write-protected",
		"/dev/loop3": "too small",
		"/dev/ram0":  "connected by something unknown",
		"/dev/nbd0":  "connected by something unknown",
		"/dev/vda":   "connected by virtio",
	},
	"linux-old-texts": {
		"/dev/sda":        "connected by sata",
		"/dev/sdb":        "",
		"/dev/sdc":        "has no card in it",
		"/dev/mmcblk0":    "doesn't say whether it is a card",
		"/dev/cciss/c0d0": "connected by something unknown",
	},
	"macos-cards": {
		"/dev/disk0": "connected by nvme",
		"/dev/disk1": "not a whole drive but virtual",
		"/dev/disk2": "",
		"/dev/disk3": "", // mounted at /Volumes/MORVEN, which is let go of, or refused, when it is opened for writing
		"/dev/disk4": "not a removable medium",
		"/dev/disk5": "write-protected",
		"/dev/disk6": "not a whole drive but virtual",
		"/dev/disk7": "doesn't say BusProtocol, RemovableMedia", // taken away between the two questions
	},
	"windows-cards": {
		`\\.\PHYSICALDRIVE0`: "connected by nvme",
		`\\.\PHYSICALDRIVE1`: "",
		`\\.\PHYSICALDRIVE2`: "", // E: is let go of, or refused, when it is opened for writing
		`\\.\PHYSICALDRIVE3`: "has no card in it",
		`\\.\PHYSICALDRIVE4`: "",
		`\\.\PHYSICALDRIVE5`: "not a removable medium",
		`\\.\PHYSICALDRIVE6`: "doesn't say whether it is a card",
		`\\.\PHYSICALDRIVE7`: "write-protected",
	},
	"windows-system-on-usb": {
		`\\.\PHYSICALDRIVE0`: "running system",
		`\\.\PHYSICALDRIVE1`: "doesn't say what it is",
	},
}

func TestMayEraseOnSavedListings(t *testing.T) {
	for name, want := range verdicts {
		t.Run(name, func(t *testing.T) {
			drives := parse(t, name)
			require.Len(t, drives, len(want), "every drive of the listing is judged")
			for _, d := range drives {
				part, known := want[d.Path]
				require.True(t, known, d.Path)
				verdict := readers.MayErase(d, readers.UsualLimits)
				assert.Equal(t, part == "", verdict.OK, "%s: %v", d.Path, verdict.Reasons)
				assert.Contains(t, strings.Join(verdict.Reasons, "\n"), part, d.Path)
			}
		})
	}
}

func TestEveryListingIsJudged(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(listings, "*"))
	require.NoError(t, err)
	judged := 0
	for _, file := range files {
		name := strings.TrimSuffix(strings.TrimSuffix(filepath.Base(file), ".json"), "-list.plist")
		if _, ok := verdicts[name]; ok {
			judged++
		}
	}
	assert.Len(t, verdicts, judged)
}

// aCard is a card in a reader on USB that may be erased; each case below
// changes one thing about it.
func aCard() readers.Drive {
	return readers.Drive{
		Path: "/dev/sdb", Type: "disk", Transport: "usb", Bytes: 31_914_983_424, Removable: true, HotPlug: true,
		Table: "dos", Parts: []readers.Drive{{Path: "/dev/sdb1", Type: "part", FileSystem: "vfat", Label: "KITTIWAKE"}},
	}
}

func anSDCard() readers.Drive {
	d := aCard()
	d.Path, d.Transport, d.Removable, d.Bytes = "/dev/mmcblk1", "mmc", false, 15_854_469_120
	d.Card = &readers.Card{Kind: "SD", Bytes: 15_854_469_120}
	return d
}

func TestMayEraseChangesWithEachFact(t *testing.T) {
	require.True(t, readers.MayErase(aCard(), readers.UsualLimits).OK)
	require.True(t, readers.MayErase(anSDCard(), readers.UsualLimits).OK)
	for name, change := range map[string]func(*readers.Drive){
		"nothing known at all":      func(d *readers.Drive) { *d = readers.Drive{} },
		"something isn't known":     func(d *readers.Drive) { d.Unknown = []string{"rm"} },
		"type not known":            func(d *readers.Drive) { d.Type = "" },
		"a partition":               func(d *readers.Drive) { d.Type = "part" },
		"on sata":                   func(d *readers.Drive) { d.Transport = "sata" },
		"on nvme":                   func(d *readers.Drive) { d.Transport = "nvme" },
		"transport not known":       func(d *readers.Drive) { d.Transport = "" },
		"not removable":             func(d *readers.Drive) { d.Removable = false; d.Card = nil },
		"not hot-pluggable":         func(d *readers.Drive) { d.HotPlug = false },
		"locked":                    func(d *readers.Drive) { d.ReadOnly = true },
		"no card":                   func(d *readers.Drive) { d.Bytes = 0 },
		"negative size":             func(d *readers.Drive) { d.Bytes = -1 },
		"absurd size":               func(d *readers.Drive) { d.Bytes = 1 << 62 },
		"64 GB":                     func(d *readers.Drive) { d.Bytes = 63_864_569_856 },
		"2 GB":                      func(d *readers.Drive) { d.Bytes = 2_002_780_160 },
		"mounted itself":            func(d *readers.Drive) { d.Mounts = []string{"/mnt"} },
		"a part mounted":            func(d *readers.Drive) { d.Parts[0].Mounts = []string{"/mnt"} },
		"swap":                      func(d *readers.Drive) { d.Swap = true },
		"a part is swap":            func(d *readers.Drive) { d.Parts[0].Swap = true },
		"system":                    func(d *readers.Drive) { d.System = true },
		"something built on a part": func(d *readers.Drive) { d.Parts[0].Parts = []readers.Drive{{Type: "crypt"}} },
		"something built on it":     func(d *readers.Drive) { d.Parts[0].Type = "raid1" },
		"built on it, type unknown": func(d *readers.Drive) { d.Parts[0].Type = "" },
		"member itself":             func(d *readers.Drive) { d.FileSystem = "LVM2_member" },
		"a part is a member":        func(d *readers.Drive) { d.Parts[0].FileSystem = "linux_raid_member" },
		"encrypted":                 func(d *readers.Drive) { d.Parts[0].FileSystem = "crypto_LUKS" },
	} {
		for _, d := range []readers.Drive{aCard(), anSDCard()} {
			change(&d)
			verdict := readers.MayErase(d, readers.UsualLimits)
			assert.False(t, verdict.OK, "%s: %+v", name, d)
			assert.NotEmpty(t, verdict.Reasons, name)
		}
	}
	for name, change := range map[string]func(*readers.Drive){
		"soldered memory":           func(d *readers.Drive) { d.Card.Kind = "MMC" },
		"card says nothing":         func(d *readers.Drive) { d.Card.Kind = "" },
		"card claims another size":  func(d *readers.Drive) { d.Card.Bytes = 31_914_983_424 },
		"card's size isn't known":   func(d *readers.Drive) { d.Card.Bytes = 0 },
		"removable, but not a card": func(d *readers.Drive) { d.Removable, d.Card = true, nil },
	} {
		d := anSDCard()
		change(&d)
		assert.False(t, readers.MayErase(d, readers.UsualLimits).OK, name)
	}
}

func TestMayEraseNeedsLimits(t *testing.T) {
	for _, limits := range []media.Limits{{}, {Most: 32e9}, {Least: 4e9}, {Least: 32e9, Most: 4e9}, {Least: -1, Most: 64e9}} {
		assert.False(t, readers.MayErase(aCard(), limits).OK, "%+v", limits)
	}
	assert.True(t, readers.MayErase(aCard(), media.Limits{Least: 1, Most: 1 << 62}).OK)
}

func TestMayEraseGivesEveryReason(t *testing.T) {
	d := aCard()
	d.ReadOnly, d.Removable, d.Bytes = true, false, 2e9
	d.Mounts = []string{"/mnt"}
	assert.Len(t, readers.MayErase(d, readers.UsualLimits).Reasons, 4)
}

func TestVerdictSaysWhyItMay(t *testing.T) {
	assert.Equal(t, []string{
		"is a removable medium in a reader that can be unplugged",
		"holds 31.91 GB, within 4 GB to 32 GB",
		"nothing of it is mounted or in use",
	}, readers.MayErase(aCard(), readers.UsualLimits).Reasons)
	text, err := json.Marshal(readers.MayErase(aCard(), media.Limits{}))
	require.NoError(t, err)
	assert.JSONEq(t, `{"ok":false,"reasons":["can't be judged: the sizes that the devices take are not known"]}`, string(text))
}
