package windisk_test

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/windisk"
)

// Values as Microsoft's winioctl.h has them, from memory of it.
func TestControlCodes(t *testing.T) {
	for name, c := range map[string][2]uint32{
		"FSCTL_LOCK_VOLUME":                    {0x00090018, windisk.LockVolume},
		"FSCTL_DISMOUNT_VOLUME":                {0x00090020, windisk.DismountVolume},
		"IOCTL_DISK_GET_DRIVE_GEOMETRY_EX":     {0x000700A0, windisk.DriveGeometryEx},
		"IOCTL_DISK_GET_LENGTH_INFO":           {0x0007405C, windisk.LengthInfo},
		"IOCTL_DISK_IS_WRITABLE":               {0x00070024, windisk.IsWritable},
		"IOCTL_DISK_GET_DRIVE_LAYOUT_EX":       {0x00070050, windisk.DriveLayoutEx},
		"IOCTL_DISK_UPDATE_PROPERTIES":         {0x00070140, windisk.UpdateProperties},
		"IOCTL_STORAGE_QUERY_PROPERTY":         {0x002D1400, windisk.QueryProperty},
		"IOCTL_STORAGE_GET_HOTPLUG_INFO":       {0x002D0C14, windisk.HotplugInfo},
		"IOCTL_STORAGE_CHECK_VERIFY2":          {0x002D0800, windisk.CheckVerify2},
		"IOCTL_STORAGE_MEDIA_REMOVAL":          {0x002D4804, windisk.MediaRemoval},
		"IOCTL_STORAGE_EJECT_MEDIA":            {0x002D4808, windisk.EjectMedia},
		"IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS": {0x00560000, windisk.VolumeExtents},
	} {
		assert.Equalf(t, c[0], c[1], "%s: %#x", name, c[1])
	}
}

func TestNames(t *testing.T) {
	for path, want := range map[string]int{
		`\\.\PhysicalDrive2`: 2, `\\.\PHYSICALDRIVE10`: 10, `//./physicaldrive0`: 0, `\\?\PhysicalDrive9999`: 9999,
		`PhysicalDrive2`: -1, `\\.\PhysicalDrive`: -1, `\\.\PhysicalDrive2x`: -1, `\\.\PhysicalDrive99999`: -1, `\\.\E:`: -1, `\\server\share`: -1, ``: -1,
	} {
		number, ok := windisk.Number(path)
		assert.Equal(t, want >= 0, ok, path)
		if ok {
			assert.Equal(t, want, number, path)
		}
		assert.Equal(t, ok || path == `\\.\E:`, windisk.IsDrive(path), path)
	}
	for path, want := range map[string]byte{
		`E:`: 'E', `e:`: 'E', `\\.\E:`: 'E', `//./e:`: 'E',
		`E:\`: 0, `E:/`: 0, `E:file`: 0, `1:`: 0, `[:`: 0, `{:`: 0, `E`: 0, `:`: 0, `\\.\E:\`: 0, `É:`: 0,
	} {
		letter, ok := windisk.Letter(path)
		assert.Equal(t, want != 0, ok, path)
		if ok {
			assert.Equal(t, want, letter, path)
		}
	}
	assert.Equal(t, `\\.\E:`, windisk.VolumePath("e:"))
	assert.Equal(t, `\\?\Volume{1}`, windisk.VolumePath(`\\?\Volume{1}\`))
	assert.Equal(t, []string{`E:\`, `C:\card\`}, windisk.Texts([]uint16{'E', ':', '\\', 0, 'C', ':', '\\', 'c', 'a', 'r', 'd', '\\', 0, 0, 'x'}))
	assert.Empty(t, windisk.Texts(nil))
	assert.Equal(t, []string{"E"}, windisk.Texts([]uint16{'E'}), "cut short")
}

func u64s(numbers ...uint64) []byte {
	var b []byte
	for _, n := range numbers {
		b = binary.LittleEndian.AppendUint64(b, n)
	}
	return b
}

func TestAnswers(t *testing.T) {
	extents, err := windisk.ParseExtents(u64s(2, 1, 4<<20, 100, 3, 0, 200))
	require.NoError(t, err)
	assert.Equal(t, []windisk.Extent{{Drive: 1, Start: 4 << 20, Length: 100}, {Drive: 3, Start: 0, Length: 200}}, extents)
	size, err := windisk.ParseLength(u64s(31_914_983_424))
	require.NoError(t, err)
	assert.EqualValues(t, 31_914_983_424, size)
	g, err := windisk.ParseGeometry(u64s(3880, 255<<32|11, 512<<32|63, 31_914_983_424))
	require.NoError(t, err)
	assert.Equal(t, windisk.Geometry{Bytes: 31_914_983_424, Sector: 512, Removable: true}, g)
	for _, flags := range []uint64{1, 1 << 8, 1 << 16} { // MediaRemovable, MediaHotplug, DeviceHotplug
		hot, err := windisk.ParseHotplug(u64s(flags<<32 | 8))
		require.NoError(t, err)
		assert.True(t, hot)
	}
}

// An answer that is short, or can't be true, is refused and never believed in
// part.
func TestAnswersThatAreRefused(t *testing.T) {
	for _, b := range [][]byte{
		nil, u64s(2, 1, 0, 100), u64s(65), u64s(1, 1, 1<<63, 1), u64s(1, 1, 1<<62, 1<<62), u64s(1, 10_000, 0, 1),
	} {
		_, err := windisk.ParseExtents(b)
		assert.Error(t, err, "%v", b)
	}
	for _, b := range [][]byte{nil, u64s(0, 0, 0, 100), u64s(0, 0, 513<<32, 100), u64s(0, 0, 512<<32, 1<<63), u64s(0, 0, 1<<50, 100)} {
		_, err := windisk.ParseGeometry(b)
		assert.Error(t, err, "%v", b)
	}
	_, err := windisk.ParseLength(u64s(1 << 63))
	require.Error(t, err)
	_, err = windisk.ParseHotplug([]byte{8, 0, 0, 0, 1})
	require.Error(t, err)
	_, err = windisk.ParseDescriptor(make([]byte, 31))
	require.Error(t, err)
	_, err = windisk.ParseLayout(u64s(1<<32, 0, 0, 0, 0, 0, 0, 100))
	require.Error(t, err, "an entry that isn't there")
}

func FuzzAnswers(f *testing.F) {
	f.Add(u64s(1, 1, 4<<20, 100))
	f.Add(u64s(3880, 255<<32|11, 512<<32|63, 31_914_983_424))
	f.Fuzz(func(t *testing.T, b []byte) {
		if extents, err := windisk.ParseExtents(b); err == nil {
			require.LessOrEqual(t, len(extents), windisk.MaxExtents)
			for _, e := range extents {
				require.True(t, e.Drive >= 0 && e.Start >= 0 && e.Length >= 0 && e.Start+e.Length >= 0)
			}
		}
		if g, err := windisk.ParseGeometry(b); err == nil {
			require.True(t, g.Bytes >= 0 && g.Sector > 0)
		}
		if l, err := windisk.ParseLayout(b); err == nil {
			require.LessOrEqual(t, len(l.Parts), windisk.MaxParts)
		}
		_, _ = windisk.ParseDescriptor(b)
		_, _ = windisk.ParseLength(b)
		_, _ = windisk.ParseHotplug(b)
	})
}

func FuzzNames(f *testing.F) {
	f.Add(`\\.\PhysicalDrive2`)
	f.Add(`E:`)
	f.Fuzz(func(t *testing.T, path string) {
		if number, ok := windisk.Number(path); ok {
			again, ok := windisk.Number(windisk.Path(number))
			require.True(t, ok && again == number)
			_, letter := windisk.Letter(path)
			require.False(t, letter)
		}
	})
}
