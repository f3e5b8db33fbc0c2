package drive

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/windisk"
)

// ntStandIn plays Windows with one card in a reader. It refuses what
// Windows refuses by Microsoft's documentation (CreateFile, "Physical Disks and
// Volumes"; FSCTL_LOCK_VOLUME; FSCTL_DISMOUNT_VOLUME), and notes as harm what
// Windows lets through and a technician would pay for. It was never compared
// with a real Windows.
type ntStandIn struct {
	card    []byte
	gone    bool // the card was pulled out
	stays   bool // the reader can't eject
	locked  bool // the lock switch
	denied  bool // the user is no administrator
	list    []*ntVolume
	claimed bool
	late    *ntVolume // comes up when the first volume is dismounted
	asked   []string
	harm    []string
	paused  int
}

type ntVolume struct {
	name          string
	letter        string
	start, length int64
	drive         uint64
	files         int // open ones
	closesAfter   int // pauses until a scanner closes them
	lockedBy      *ntHandle
	dismounted    bool
}

const (
	ntDenied      = syscall.Errno(5)
	ntInvalid     = syscall.Errno(87)
	ntProtected   = syscall.Errno(19)
	ntNotReady    = syscall.Errno(21)
	ntExists      = syscall.Errno(183)
	ntUnsupported = syscall.Errno(1)
	ntMissing     = syscall.Errno(2)
)

func newStandIn() *ntStandIn {
	return &ntStandIn{
		card: make([]byte, 1<<20),
		list: []*ntVolume{{name: `\\?\Volume{1}\`, letter: `E:\`, start: 64 << 10, length: 1<<20 - 64<<10, drive: 2}, {name: `\\?\Volume{9}\`, letter: `C:\`, length: 1 << 30}},
	}
}

func (w *ntStandIn) note(format string, args ...any) {
	w.harm = append(w.harm, fmt.Sprintf(format, args...))
}

func (w *ntStandIn) claim(number int) (io.Closer, error) {
	w.asked = append(w.asked, "claim")
	if w.claimed {
		return nil, ntExists
	}
	w.claimed = true
	return closing(func() { w.claimed = false }), nil
}

type closing func()

func (c closing) Close() error { c(); return nil }

func (w *ntStandIn) volumes() ([]string, error) {
	var names []string
	for _, v := range w.list {
		names = append(names, v.name)
	}
	return names, nil
}

func (w *ntStandIn) places(name string) []string {
	if v := w.volume(name); v != nil && v.letter != "" {
		return []string{v.letter}
	}
	return nil
}

func (w *ntStandIn) volume(name string) *ntVolume {
	for _, v := range w.list {
		if strings.TrimSuffix(v.name, `\`) == strings.TrimSuffix(name, `\`) || `\\.\`+strings.TrimSuffix(v.letter, `\`) == name {
			return v
		}
	}
	return nil
}

// pause lets the scanner that has a file open come to its end.
func (w *ntStandIn) pause(time.Duration) {
	w.paused++
	for _, v := range w.list {
		if v.closesAfter > 0 {
			if v.closesAfter--; v.closesAfter == 0 {
				v.files = 0
			}
		}
	}
}

func (w *ntStandIn) open(path string, access ntAccess) (ntFile, error) {
	if number, ok := windisk.Number(path); ok {
		switch {
		case number != 2:
			return nil, ntMissing
		case access != accessNone && w.denied:
			return nil, ntDenied
		}
		if access == accessWrite {
			w.asked = append(w.asked, "open")
		}
		return &ntHandle{on: w, access: access}, nil
	}
	v := w.volume(path)
	switch {
	case v == nil:
		return nil, ntMissing
	case access == accessWrite && w.denied:
		return nil, ntDenied
	}
	return &ntHandle{on: w, access: access, volume: v}, nil
}

// ntHandle is an open drive, or an open volume of it.
type ntHandle struct {
	on     *ntStandIn
	access ntAccess
	volume *ntVolume
	closed bool
}

func (h *ntHandle) Close() error {
	if h.closed {
		h.on.note("closed twice")
	}
	h.closed = true
	if v := h.volume; v != nil && v.lockedBy == h {
		v.lockedBy, v.dismounted = nil, false // the next look at it mounts it again
	}
	return nil
}

func (h *ntHandle) Sync() error {
	if h.on.gone {
		return ntNotReady
	}
	return ntUnsupported // as many readers on USB answer
}

func (h *ntHandle) control(code uint32, in []byte, most int) ([]byte, error) {
	w := h.on
	switch code {
	case windisk.VolumeExtents:
		return ntNumbers(1, h.volume.drive, uint64(h.volume.start), uint64(h.volume.length)), nil
	case windisk.DriveGeometryEx:
		return ntNumbers(0, 11, 512<<32, uint64(len(w.card))), nil
	case windisk.LengthInfo:
		if w.gone {
			return nil, ntNotReady
		}
		if h.access == accessNone {
			return nil, ntDenied
		}
		return ntNumbers(uint64(len(w.card))), nil
	case windisk.IsWritable:
		if w.locked {
			return nil, ntProtected
		}
		return nil, nil
	case windisk.LockVolume:
		return nil, w.lock(h)
	case windisk.DismountVolume:
		return nil, w.dismount(h)
	case windisk.UpdateProperties:
		w.asked = append(w.asked, "tell")
		w.desktop()
		return nil, nil
	case windisk.EjectMedia:
		if w.stays {
			return nil, ntUnsupported
		}
		w.asked = append(w.asked, "eject")
		w.gone = true
		return nil, nil
	}
	return nil, nil
}

func ntNumbers(numbers ...uint64) []byte {
	var b []byte
	for _, n := range numbers {
		b = binary.LittleEndian.AppendUint64(b, n)
	}
	return b
}

func (w *ntStandIn) lock(h *ntHandle) error {
	v := h.volume
	if !w.claimed {
		w.note("locked %s, which another run might be writing", v.letter)
	}
	if v.files > 0 || v.lockedBy != nil && v.lockedBy != h {
		return ntDenied
	}
	v.lockedBy = h
	w.asked = append(w.asked, "lock")
	return nil
}

// dismount succeeds without a lock too, and tears open files away.
func (w *ntStandIn) dismount(h *ntHandle) error {
	v := h.volume
	if v.lockedBy != h {
		w.note("dismounted %s without a lock", v.letter)
	}
	v.dismounted = true
	w.asked = append(w.asked, "dismount")
	if w.late != nil {
		w.list = append(w.list, w.late)
		w.late = nil
	}
	return nil
}

// desktop is what a desktop does with a card that it may mount: it writes its
// own folder to it.
func (w *ntStandIn) desktop() {
	for _, v := range w.list {
		if v.drive == 2 && v.lockedBy == nil && !w.gone {
			copy(w.card[v.start:], "System Volume Information")
		}
	}
}

func (h *ntHandle) ReadAt(p []byte, off int64) (int, error) {
	switch {
	case h.on.gone:
		return 0, ntNotReady
	case h.access == accessNone:
		return 0, ntDenied
	case !h.aligned(p, off) || off+int64(len(p)) > int64(len(h.on.card)):
		return 0, ntInvalid
	}
	return copy(p, h.on.card[off:]), nil
}

func (h *ntHandle) aligned(p []byte, off int64) bool {
	return (off|int64(len(p))|addressOf(p))&511 == 0
}

func (h *ntHandle) WriteAt(p []byte, off int64) (int, error) {
	w := h.on
	switch {
	case w.gone:
		return 0, ntNotReady
	case h.access != accessWrite:
		return 0, ntDenied
	case !h.aligned(p, off) || off+int64(len(p)) > int64(len(w.card)):
		return 0, ntInvalid
	}
	for _, v := range w.list {
		if v.drive == 2 && v.lockedBy == nil && off < v.start+v.length && off+int64(len(p)) > v.start {
			return 0, ntDenied
		}
		if v.drive == 2 && !v.dismounted {
			w.note("wrote while %s was mounted", v.letter)
		}
	}
	if len(w.asked) > 0 && w.asked[len(w.asked)-1] != "write" {
		w.asked = append(w.asked, "write")
	}
	return copy(w.card[off:], p), nil
}

// writeCard is the whole work on a drive, in the steps that prepare takes.
func writeCard(w *ntStandIn, content []byte) (err error) {
	d, err := openNT(w, "E:", true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if _, err := d.WriteAt(content, 0); err != nil {
		return err
	}
	if err := d.Sync(); err != nil {
		return err
	}
	read := make([]byte, len(content))
	if _, err := d.ReadAt(read, 0); err != nil {
		return err
	}
	if !bytes.Equal(read, content) {
		return errors.New("what was read back differs")
	}
	if err := d.TellSystem(); err != nil {
		return err
	}
	return d.Eject()
}

func someBytes(n int) []byte {
	b := make([]byte, n)
	_, _ = rand.Read(b)
	return b
}

func TestWindowsOrderOfWork(t *testing.T) {
	w, content := newStandIn(), someBytes(1<<20)
	require.NoError(t, writeCard(w, content))
	assert.Empty(t, w.harm)
	assert.Equal(t, []string{"claim", "open", "lock", "dismount", "write", "tell", "eject"}, w.asked)
	assert.Equal(t, content, w.card, "nothing was written to it by a desktop")
	assert.False(t, w.claimed)
	assert.Nil(t, w.list[0].lockedBy)
	assert.False(t, w.list[1].dismounted, "the system's own volume isn't touched")
}

// At any offset and length, as media/write writes.
func TestWindowsTakesAnyOffset(t *testing.T) {
	w := newStandIn()
	d, err := openNT(w, `\\.\PhysicalDrive2`, true)
	require.NoError(t, err)
	assert.EqualValues(t, 1<<20, d.Bytes())
	assert.Equal(t, 512, d.SectorBytes())
	content := someBytes(200_001)
	_, err = d.WriteAt(content, 1234)
	require.NoError(t, err)
	read := make([]byte, len(content))
	_, err = d.ReadAt(read, 1234)
	require.NoError(t, err)
	assert.Equal(t, content, read)
	n, err := d.ReadAt(read, 1<<20-100)
	assert.Equal(t, 100, n)
	require.ErrorIs(t, err, io.EOF)
	_, err = d.WriteAt(content, 1<<20-100)
	require.ErrorIs(t, err, ErrOutside)
	require.NoError(t, d.Close())
	require.NoError(t, d.Close())
	assert.Empty(t, w.harm)
}

// Every order of the guards other than those that keep what each needs before
// it is caught by the stand-in: a write is refused, or harm is noted.
func TestWindowsGuardOrderMatters(t *testing.T) {
	real := guards
	t.Cleanup(func() { guards = real })
	before := [][2]string{{"claim", "lock"}, {"open", "measure"}, {"lock", "dismount"}, {"dismount", "check again"}}
	kept, caught := 0, 0
	for _, order := range permutations(real) {
		at := map[string]int{}
		for i, g := range order {
			at[g.name] = i
		}
		right := true
		for _, b := range before {
			right = right && at[b[0]] < at[b[1]]
		}
		guards = order
		got := harmless(t)
		require.Equal(t, right, got, "%v", at)
		if right {
			kept++
		} else {
			caught++
		}
	}
	for i := range real {
		guards = append(slices.Clone(real[:i]), real[i+1:]...)
		assert.False(t, harmless(t), "without %q", real[i].name)
	}
	assert.Equal(t, 720, kept+caught)
	assert.NotZero(t, kept)
}

func permutations(list []guard) [][]guard {
	if len(list) < 2 {
		return [][]guard{slices.Clone(list)}
	}
	var all [][]guard
	for i := range list {
		rest := append(slices.Clone(list[:i]), list[i+1:]...)
		for _, p := range permutations(rest) {
			all = append(all, append([]guard{list[i]}, p...))
		}
	}
	return all
}

// harmless runs the work where all is well, where a volume comes up in the
// middle, and where another run is at the drive already.
func harmless(t *testing.T) (ok bool) {
	defer func() {
		if recover() != nil {
			ok = false // a step before what it needs
		}
	}()
	w := newStandIn()
	if writeCard(w, someBytes(1<<20)) != nil || len(w.harm) > 0 {
		return false
	}
	w = newStandIn()
	w.late = &ntVolume{name: `\\?\Volume{5}\`, letter: `F:\`, drive: 2}
	if err := writeCard(w, someBytes(1<<20)); !errors.Is(err, ErrBusy) || len(w.harm) > 0 {
		return false
	}
	w = newStandIn()
	w.list = nil // a blank card: no volume's lock keeps the second run off
	first, err := openNT(w, `\\.\PhysicalDrive2`, true)
	if err != nil {
		return false
	}
	_, err = openNT(w, `\\.\PhysicalDrive2`, true)
	return errors.Is(err, ErrBusy) && first.Close() == nil
}

// What a person meets: reported as such, with advice for Windows, and nothing on
// the card was changed.
func TestWindowsRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		change func(w *ntStandIn)
		want   error
		says   string
	}{
		"a window shows it": {func(w *ntStandIn) { w.list[0].files = 1 }, ErrBusy, `E:\: it is in use: close the windows and programs`},
		"locked":            {func(w *ntStandIn) { w.locked = true }, ErrLocked, "away from LOCK"},
		"no administrator":  {func(w *ntStandIn) { w.denied = true }, ErrDenied, "as an administrator"},
		"pulled out before": {func(w *ntStandIn) { w.gone = true }, ErrNoCard, "put one in"},
		"another run":       {func(w *ntStandIn) { w.claimed = true }, ErrBusy, "another run of cardwright has it"},
		"no such letter":    {func(w *ntStandIn) { w.list = w.list[1:] }, ErrMissing, "readers lists"},
		"a set of drives": {func(w *ntStandIn) {
			w.list = append(w.list, &ntVolume{name: `\\?\Volume{7}\`, letter: "", drive: 2, files: 1, length: 5})
		}, ErrBusy, "a part of it without a letter"},
	} {
		t.Run(name, func(t *testing.T) {
			w := newStandIn()
			c.change(w)
			claimed := w.claimed
			err := writeCard(w, someBytes(1<<20))
			require.ErrorIs(t, err, c.want)
			require.ErrorContains(t, err, c.says)
			assert.Equal(t, make([]byte, 1<<20), w.card)
			assert.Equal(t, claimed, w.claimed, "what was taken is given back")
			for _, v := range w.list {
				assert.False(t, v.dismounted)
				assert.Nil(t, v.lockedBy)
			}
			assert.Empty(t, w.harm)
		})
	}
}

// A virus scanner that lets go of a card is waited for.
func TestWindowsWaitsForALook(t *testing.T) {
	w := newStandIn()
	w.list[0].files, w.list[0].closesAfter = 1, 5
	require.NoError(t, writeCard(w, someBytes(1<<20)))
	assert.Equal(t, 5, w.paused)
}

func TestWindowsCardPulledOut(t *testing.T) {
	w := newStandIn()
	d, err := openNT(w, "E:", true)
	require.NoError(t, err)
	require.NoError(t, d.Gone())
	w.gone = true
	_, err = d.WriteAt(make([]byte, 512), 0)
	require.ErrorIs(t, err, ErrGone)
	require.ErrorIs(t, d.Sync(), ErrGone)
	require.ErrorIs(t, d.Gone(), ErrGone)
	_, err = d.ReadAt(make([]byte, 512), 0)
	require.ErrorIs(t, err, ErrGone)
	require.NoError(t, d.Close())
}

func TestWindowsReaderThatKeepsItsCard(t *testing.T) {
	w := newStandIn()
	w.stays = true
	err := writeCard(w, someBytes(1<<20))
	require.ErrorIs(t, err, ErrStays)
	assert.ErrorContains(t, err, "take it out by hand")
}

// For reading nothing is locked, dismounted or claimed.
func TestWindowsReadsWhatIsMounted(t *testing.T) {
	w := newStandIn()
	w.list[0].files = 3
	d, err := openNT(w, "e:", false)
	require.NoError(t, err)
	assert.True(t, d.FromMedium())
	_, err = d.ReadAt(make([]byte, 700), 3)
	require.NoError(t, err)
	_, err = d.WriteAt(make([]byte, 512), 0)
	require.ErrorIs(t, err, ErrReadOnly)
	require.NoError(t, d.Close())
	assert.Empty(t, w.asked)
}

func TestWindowsNamesOfDrives(t *testing.T) {
	w := newStandIn()
	for _, path := range []string{"E:", `\\.\e:`, `\\.\PhysicalDrive2`} {
		number, err := ntNumber(w, path)
		require.NoError(t, err)
		assert.Equal(t, 2, number)
	}
	for _, path := range []string{`E:\`, "card.img", "/dev/sdb"} {
		_, err := ntNumber(w, path)
		require.ErrorIs(t, err, ErrNotDrive)
	}
}

// Advice can be followed on the system where it is given.
func TestAdviceFitsItsSystem(t *testing.T) {
	foreign := map[string][]string{
		"linux":   {"diskutil", "sudo", "administrator", "Run as", "System Settings"},
		"darwin":  {"lsblk", "administrator", "Run as", "losetup", "loop drive", "group for disks"},
		"windows": {"lsblk", "diskutil", "sudo", "unmount", "root", "losetup", "loop drive", "/dev", "group for disks", "chmod"},
	}
	for _, on := range []system{{"linux", systemErrors}, macSystem, windowsSystem} {
		for name := range advice {
			for _, k := range []kind{drive, image} {
				text := faultNamedOn(on, name, k, "opening", nil).Error()
				assert.NotEmpty(t, on.advice(name, k))
				for _, word := range foreign[on.name] {
					assert.NotContains(t, text, word, on.name)
				}
			}
		}
	}
}

func FuzzErrorNumbers(f *testing.F) {
	f.Add(uint(5))
	f.Fuzz(func(t *testing.T, number uint) {
		for _, on := range []system{macSystem, windowsSystem} {
			err := faultOn(on, drive, "reading", syscall.Errno(number))
			require.ErrorIs(t, err, syscall.Errno(number))
			if name := on.nameOf(syscall.Errno(number)); name != nil {
				require.ErrorIs(t, err, name)
			}
		}
	})
}
