package readers_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/media/readers"
)

// Sizes seen in dumps of real cards, the band limits of the SD Association,
// and a nominal 4 GB card from memory.
func TestNominalAndBand(t *testing.T) {
	for _, c := range []struct {
		bytes, nominal int64
		band           readers.Band
	}{
		{7_948_206_080, 8e9, readers.HighCapacity},
		{15_891_378_995, 16e9, readers.HighCapacity}, // 14.8 GiB
		{15_854_469_120, 16e9, readers.HighCapacity},
		{31_914_983_424, 32e9, readers.HighCapacity},
		{31_439_454_208, 32e9, readers.HighCapacity},
		{32_023_511_040, 32e9, readers.HighCapacity}, // over 32 GB by the measure, not by the label
		{3_962_109_000, 4e9, readers.HighCapacity},   // 3.69 GiB, from memory
		{2_000_000_000, 2e9, readers.StandardCapacity},
		{1 << 30, 0, readers.StandardCapacity}, // no card measures 1.07 GB
		{63_864_569_856, 64e9, readers.ExtendedCapacity},
		{1_999_000_000_000, 2e12, readers.ExtendedCapacity},
		{4e12, 4e12, readers.UltraCapacity},
		{256e12, 256e12, readers.NoBand},
		{0, 0, readers.NoBand},
		{-1, 0, readers.NoBand},
		{5e9, 0, readers.HighCapacity},
	} {
		assert.Equal(t, c.nominal, readers.Nominal(c.bytes), "%d", c.bytes)
		assert.Equal(t, c.band, readers.BandOf(c.bytes), "%d", c.bytes)
	}
}

func TestNominalIsNear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bytes := rapid.Int64Range(0, 1<<56).Draw(t, "bytes")
		if nominal := readers.Nominal(bytes); nominal != 0 {
			ratio := float64(bytes) / float64(nominal)
			require.True(t, ratio >= 0.92 && ratio <= 1.05, "%d for %d", nominal, bytes)
		}
	})
}

// The first is a dump of a real register with its C_SIZE worked out. The others
// are composed by the rules of the SD Physical Layer Simplified Specification
// §5.3, from memory: structure 0 with READ_BL_LEN 9, C_SIZE 3751, C_SIZE_MULT 7
// (the rule's own worked shape for about 1 GB), and structure 2.
func TestCSDBytes(t *testing.T) {
	for csd, want := range map[string]int64{
		"400e00325b590000761f7f800a400000": (30_239 + 1) * 512 << 10, // 15,854,469,120
		"00000000000983a9c003800000000000": (3_751 + 1) << (7 + 2) << 9,
		"8000000000000fffffff000000000000": (0xfffffff + 1) * 512 << 10, // 128 TiB
	} {
		got, err := readers.CSDBytes(csd)
		require.NoError(t, err, csd)
		assert.Equal(t, want, got, csd)
	}
	assert.EqualValues(t, 15_854_469_120, (30_239+1)*512<<10)
	for _, csd := range []string{"", "40", "zz0e00325b590000761f7f800a400000", "c00e00325b590000761f7f800a400000"} {
		_, err := readers.CSDBytes(csd)
		assert.Error(t, err, csd)
	}
}

func TestCardOfANativeReader(t *testing.T) {
	file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text + "\n")} }
	sys := fstest.MapFS{
		"block/mmcblk0/device/type":   file("MMC"),
		"block/mmcblk1/device/type":   file("SD"),
		"block/mmcblk1/device/cid":    file("1b534d303030303010badcafe0012300"),
		"block/mmcblk1/device/csd":    file("400e00325b590000761f7f800a400000"),
		"block/mmcblk1/device/serial": file("0x0badcafe"),
		"block/mmcblk1/device/date":   file("03/2026"),
		"block/mmcblk2/device/type":   file("SD"),
	}
	card, err := readers.CardOf(sys, "mmcblk1")
	require.NoError(t, err)
	assert.Equal(t, &readers.Card{
		Kind: "SD", CID: "1b534d303030303010badcafe0012300", CSD: "400e00325b590000761f7f800a400000",
		Serial: "0x0badcafe", Manufactured: "03/2026", Bytes: 15_854_469_120,
	}, card)
	card, err = readers.CardOf(sys, "mmcblk0")
	require.NoError(t, err)
	assert.Equal(t, "MMC", card.Kind)
	card, err = readers.CardOf(sys, "mmcblk9")
	require.NoError(t, err)
	assert.Nil(t, card)
	_, err = readers.CardOf(sys, "mmcblk2")
	require.Error(t, err, "a card that doesn't say its size")
	_, err = readers.CardOf(sys, "../mmcblk1")
	require.Error(t, err)
}

func TestCodeIsOfTheCard(t *testing.T) {
	content := bytes.Repeat([]byte("card"), 1<<20)
	size, names := int64(len(content)), []string{"charts", "tracks.gpx"}
	code := func(change func(content []byte, size *int64, names *[]string)) string {
		content, size, names := bytes.Clone(content), size, append([]string{}, names...)
		change(content, &size, &names)
		code, err := readers.Code(bytes.NewReader(content), size, names)
		require.NoError(t, err)
		require.Regexp(t, `^[2-9B-DF-HJKMNP-TV-Z]{4}-[2-9B-DF-HJKMNP-TV-Z]{4}$`, code)
		return code
	}
	same := code(func([]byte, *int64, *[]string) {})
	assert.Equal(t, same, code(func(_ []byte, _ *int64, names *[]string) { (*names)[0], (*names)[1] = (*names)[1], (*names)[0] }))
	assert.Equal(t, same, code(func(content []byte, _ *int64, _ *[]string) { content[1<<20]++ }), "only the first MiB counts")
	for name, change := range map[string]func([]byte, *int64, *[]string){
		"another byte":   func(content []byte, _ *int64, _ *[]string) { content[1<<20-1]++ },
		"another size":   func(_ []byte, size *int64, _ *[]string) { *size -= 512 },
		"another name":   func(_ []byte, _ *int64, names *[]string) { (*names)[0] = "chart" },
		"a name more":    func(_ []byte, _ *int64, names *[]string) { *names = append(*names, "") },
		"names run over": func(_ []byte, _ *int64, names *[]string) { *names = []string{"chartstracks.gpx"} },
	} {
		assert.NotEqual(t, same, code(change), name)
	}
}

// Many cards, no two codes alike: 2,000 of 3.8 × 10^11 would collide by chance
// five times in a million runs.
func TestCodesSpread(t *testing.T) {
	seen := map[string]bool{}
	for i := range 2000 {
		code, err := readers.Code(bytes.NewReader(nil), 0, []string{strings.Repeat("x", i)})
		require.NoError(t, err)
		seen[code] = true
	}
	assert.Len(t, seen, 2000)
}

func TestUnreadableCardHasNoCode(t *testing.T) {
	failing := errors.New("no answer")
	_, err := readers.Code(readerAt{iotest.ErrReader(failing)}, 1<<20, nil)
	require.ErrorIs(t, err, failing)
	_, err = readers.Code(bytes.NewReader(make([]byte, 100)), 1<<20, nil)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
}

type readerAt struct{ io.Reader }

func (r readerAt) ReadAt(p []byte, _ int64) (int, error) { return r.Read(p) }

func TestSameCode(t *testing.T) {
	for typed, want := range map[string]bool{
		"K7PM-2XWD": true, "k7pm2xwd": true, " K7PM 2XWD ": true,
		"K7PM-2XWB": false, "K7PM": false, "": false, "K7PM-2XWDD": false,
	} {
		assert.Equal(t, want, readers.SameCode("K7PM-2XWD", typed), typed)
	}
	assert.False(t, readers.SameCode("", ""))
	assert.False(t, readers.SameCode("-", " "))
}

// The real lsblk, on a real loop drive: listed, and refused once it is mounted.
func TestListOfThisComputer(t *testing.T) {
	backing := filepath.Join(t.TempDir(), "backing")
	require.NoError(t, os.WriteFile(backing, nil, 0o600))
	require.NoError(t, os.Truncate(backing, 7_679_770_624))
	loop := tool(t, "losetup", "-f", "--show", backing)
	t.Cleanup(func() { _ = exec.Command("losetup", "-d", loop).Run() })

	drives, err := readers.List(t.Context())
	require.NoError(t, err)
	d := find(t, drives, loop)
	assert.EqualValues(t, 7_679_770_624, d.Bytes)
	verdict := readers.MayErase(d, readers.UsualLimits)
	require.True(t, verdict.OK, "%v", verdict.Reasons)

	tool(t, "mkfs.ext4", "-q", "-E", "lazy_itable_init=1,lazy_journal_init=1", loop)
	folder := t.TempDir()
	tool(t, "mount", loop, folder)
	t.Cleanup(func() { _ = exec.Command("umount", folder).Run() })
	drives, err = readers.List(t.Context())
	require.NoError(t, err)
	verdict = readers.MayErase(find(t, drives, loop), readers.UsualLimits)
	assert.Contains(t, strings.Join(verdict.Reasons, "\n"), "is mounted at "+folder)
}

func TestListStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := readers.List(ctx)
	require.ErrorIs(t, err, context.Canceled)
}

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	require.NoError(t, err, "%s %v: %s\nThis test uses a real loop drive: run it as root, with util-linux and e2fsprogs installed.", name, args, out)
	return strings.TrimSpace(string(out))
}

func TestToolsAreBounded(t *testing.T) {
	out, err := readers.Run(t.Context(), "sh", "-c", "echo ok; echo complaint >&2")
	require.NoError(t, err)
	assert.Equal(t, "ok\n", string(out))
	_, err = readers.Run(t.Context(), "sh", "-c", "echo 'no such reader' >&2; exit 3")
	require.ErrorContains(t, err, "running sh: exit status 3: no such reader")
	_, err = readers.Run(t.Context(), "sh", "-c", "yes | head -c 5000000")
	require.ErrorContains(t, err, "prints more than 4194304 bytes")
	_, err = readers.Run(t.Context(), "no-such-tool-here")
	require.ErrorContains(t, err, "isn't installed")

	ctx, cancel := context.WithTimeout(t.Context(), 1)
	defer cancel()
	_, err = readers.Run(ctx, "sh", "-c", "sleep 1000 & wait")
	require.ErrorIs(t, err, context.DeadlineExceeded)
	assert.ErrorContains(t, err, "a reader may be failing")
}
