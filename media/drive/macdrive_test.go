package drive

import (
	"errors"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// macStandIn plays macOS with one card: a raw drive can't be opened for
// writing while a volume of it is mounted, nor twice.
type macStandIn struct {
	card    []byte
	mounted bool
	used    string // what diskutil says of a volume in use
	locked  bool
	gone    bool
	stays   bool
	denied  bool
	held    bool
	asked   []string
}

func (m *macStandIn) unmount(disk string) error {
	m.asked = append(m.asked, "unmount "+disk)
	if m.used != "" {
		return errors.New(m.used)
	}
	m.mounted = false
	return nil
}

func (m *macStandIn) open(path string, writing bool) (macFile, error) {
	switch {
	case path != "/dev/rdisk4":
		return nil, syscall.Errno(2)
	case m.denied:
		return nil, syscall.Errno(13)
	case writing && (m.mounted || m.held):
		return nil, syscall.Errno(16)
	}
	if writing {
		m.held = true
		m.asked = append(m.asked, "open")
	}
	return &macHandle{m, writing}, nil
}

type macHandle struct {
	on      *macStandIn
	writing bool
}

func (h *macHandle) whole(p []byte, off int64) error {
	switch {
	case h.on.gone:
		return syscall.Errno(6)
	case (off|int64(len(p)))&511 != 0:
		return syscall.Errno(22)
	}
	return nil
}

func (h *macHandle) ReadAt(p []byte, off int64) (int, error) {
	if err := h.whole(p, off); err != nil {
		return 0, err
	}
	return copy(p, h.on.card[off:]), nil
}

func (h *macHandle) WriteAt(p []byte, off int64) (int, error) {
	if err := h.whole(p, off); err != nil {
		return 0, err
	}
	h.on.asked = append(h.on.asked, "write")
	return copy(h.on.card[off:], p), nil
}

func (h *macHandle) Close() error {
	if h.writing {
		h.on.held = false
		h.on.mounted = !h.on.gone
		h.on.asked = append(h.on.asked, "close")
	}
	return nil
}

func (h *macHandle) Flush() error {
	h.on.asked = append(h.on.asked, "flush")
	return nil
}

func (h *macHandle) Size() (int64, error) {
	if h.on.gone {
		return 0, syscall.Errno(6)
	}
	return int64(len(h.on.card)), nil
}
func (h *macHandle) Sector() (int, error)    { return 512, nil }
func (h *macHandle) Writable() (bool, error) { return !h.on.locked, nil }
func (h *macHandle) Eject() error {
	if h.on.stays {
		return syscall.Errno(25)
	}
	h.on.asked = append(h.on.asked, "eject")
	h.on.gone = true
	return nil
}

func TestMacOrderOfWork(t *testing.T) {
	m := &macStandIn{card: make([]byte, 1<<20), mounted: true}
	d, err := openMac(m, "/dev/disk4", true)
	require.NoError(t, err)
	assert.EqualValues(t, 1<<20, d.Bytes())
	assert.True(t, d.FromMedium())
	content := someBytes(512)
	_, err = d.WriteAt(content, 1024)
	require.NoError(t, err)
	require.NoError(t, d.Sync())
	read := make([]byte, 512)
	_, err = d.ReadAt(read, 1024)
	require.NoError(t, err)
	assert.Equal(t, content, read)
	_, err = openMac(m, "/dev/rdisk4", true)
	require.ErrorIs(t, err, ErrBusy, "a second run")
	require.NoError(t, d.TellSystem())
	require.NoError(t, d.Eject())
	require.NoError(t, d.Close())
	assert.Equal(t, "unmount /dev/disk4, open, write, flush, unmount /dev/disk4, eject, close", strings.Join(m.asked, ", "))
	assert.False(t, m.mounted, "macOS has mounted it again and may have written to it")
}

func TestMacRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		change func(m *macStandIn)
		want   error
		says   string
	}{
		"in use":           {func(m *macStandIn) { m.used = "Unmount of disk4 failed: dissented by PID 123" }, ErrBusy, "dissented by PID 123"},
		"locked":           {func(m *macStandIn) { m.locked = true }, ErrLocked, "away from LOCK"},
		"no rights":        {func(m *macStandIn) { m.denied = true }, ErrDenied, "put sudo before the command"},
		"another run":      {func(m *macStandIn) { m.held = true }, ErrBusy, "close what uses it"},
		"an empty reader":  {func(m *macStandIn) { m.card = nil }, ErrNoCard, "put one in"},
		"pulled out again": {func(m *macStandIn) { m.gone = true }, ErrNoAnswer, "pulled out"},
	} {
		m := &macStandIn{card: make([]byte, 1<<20), mounted: true}
		c.change(m)
		held := m.held
		_, err := openMac(m, "/dev/disk4", true)
		require.ErrorIs(t, err, c.want, name)
		require.ErrorContains(t, err, c.says, name)
		assert.Equal(t, held, m.held, "%s: what was opened is closed", name)
	}
}

func TestMacCardPulledOut(t *testing.T) {
	m := &macStandIn{card: make([]byte, 1<<20)}
	d, err := openMac(m, "/dev/disk4", true)
	require.NoError(t, err)
	m.gone = true
	_, err = d.WriteAt(make([]byte, 512), 0)
	require.ErrorIs(t, err, ErrGone)
	m.gone, m.stays = false, true
	require.ErrorIs(t, d.Eject(), ErrStays)
}

func TestMacNames(t *testing.T) {
	for path, want := range map[string]string{
		"/dev/disk4": "/dev/disk4", "/dev/rdisk4": "/dev/disk4", "/dev/disk12": "/dev/disk12",
		"/dev/disk4s1": "", "/dev/rdisk4s1s2": "", "/dev/disk": "", "/dev/disk4x": "", "disk4": "", "/dev/sdb": "", "/dev/disk4s": "", "/dev/disks1": "",
	} {
		whole, err := macWhole(path)
		assert.Equal(t, want, whole, path)
		assert.Equal(t, want == "", err != nil, path)
	}
	_, err := macWhole("/dev/disk4s1")
	require.ErrorIs(t, err, ErrPartition)
	assert.True(t, macStandsOn("/dev/disk4s1", "/dev/disk4"))
	assert.True(t, macStandsOn("/dev/disk4", "/dev/disk4"))
	assert.False(t, macStandsOn("/dev/disk41", "/dev/disk4"))
	assert.False(t, macStandsOn("/dev/disk41s1", "/dev/disk4"))
}

// Values as macOS' sys/disk.h gives them, from memory of it.
func TestMacRequests(t *testing.T) {
	assert.EqualValues(t, 0x40046418, dkBlockSize)
	assert.EqualValues(t, 0x40086419, dkBlockCount)
	assert.EqualValues(t, 0x4004641D, dkWritable)
	assert.EqualValues(t, 0x20006416, dkFlush)
	assert.EqualValues(t, 0x20006415, dkEject)
}

func FuzzMacNames(f *testing.F) {
	f.Add("/dev/disk4s1")
	f.Fuzz(func(t *testing.T, path string) {
		if whole, err := macWhole(path); err == nil {
			again, err := macWhole(whole)
			require.NoError(t, err)
			require.Equal(t, whole, again)
			require.Less(t, len(whole), 24)
		}
	})
}
