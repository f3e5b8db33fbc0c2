package media_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify/fatread"
)

const oldBytes = 256 << 20

// fileCard is a card in a plain file, which outside tools can look at.
type fileCard struct {
	*os.File
	bytes int64
}

func (f fileCard) Bytes() int64  { return f.bytes }
func (f fileCard) Forget() error { return nil }

func openCard(t testing.TB, path string) fileCard {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { f.Close() })
	info, err := f.Stat()
	require.NoError(t, err)
	return fileCard{f, info.Size()}
}

// oldCard is a sparse file that outside tools have formatted.
type oldCard struct {
	t    testing.TB
	path string
}

func newOldCard(t testing.TB) oldCard {
	path := filepath.Join(t.TempDir(), "card.img")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	require.NoError(t, os.Truncate(path, oldBytes))
	return oldCard{t, path}
}

// script feeds sfdisk.
func (c oldCard) script(lines ...string) {
	run(c.t, "sh", "-c", fmt.Sprintf("printf '%%s\\n' %s | %s -q %s", quoted(lines), tool(c.t, "sfdisk"), c.path))
}

func quoted(lines []string) string { return "'" + strings.Join(lines, "' '") + "'" }

// format puts a file system at an offset, by way of a file of its own.
func (c oldCard) format(at, length int64, mkfs string, args ...string) {
	part := c.path + ".part"
	require.NoError(c.t, os.WriteFile(part, nil, 0o600))
	require.NoError(c.t, os.Truncate(part, length))
	run(c.t, mkfs, append(args, part)...)
	run(c.t, "dd", "if="+part, "of="+c.path, "bs=64K", fmt.Sprint("seek=", at>>16), "conv=notrunc,sparse", "status=none")
	require.NoError(c.t, os.Remove(part))
}

// seen is what blkid finds on the whole card and at an offset of it: nothing
// is exit code 2.
func (c oldCard) seen(at, length int64) string {
	out, err := try(c.t, "blkid", "-p", "-O", fmt.Sprint(at), "-S", fmt.Sprint(length), c.path)
	if err != nil {
		require.Contains(c.t, err.Error(), "exit status 2", out)
	}
	return out
}

type place struct{ at, length int64 }

const mib = 1 << 20

// Every format that a card may come with, made by the tools that make them.
var oldCards = map[string]func(c oldCard) []place{
	"FAT16 in an MBR": func(c oldCard) []place {
		c.script("label: dos", "start=2048, size=200000, type=6")
		c.format(mib, 200000*512, "mkfs.fat", "-F", "16")
		return []place{{mib, 200000 * 512}}
	},
	"FAT32 in an MBR, after which it is an odd place": func(c oldCard) []place {
		c.script("label: dos", "start=62336, size=200000, type=c") // not a boundary unit
		c.format(62336*512, 200000*512, "mkfs.fat", "-F", "32")
		return []place{{62336 * 512, 200000 * 512}}
	},
	"FAT32 without a table": func(c oldCard) []place {
		c.format(0, oldBytes, "mkfs.fat", "-F", "32", "-I")
		return nil
	},
	"exFAT in an MBR": func(c oldCard) []place {
		c.script("label: dos", "start=32768, type=7")
		c.format(32768*512, oldBytes-32768*512, "mkfs.exfat")
		return []place{{32768 * 512, oldBytes - 32768*512}}
	},
	"exFAT without a table": func(c oldCard) []place {
		c.format(0, oldBytes, "mkfs.exfat")
		return nil
	},
	"NTFS in an MBR": func(c oldCard) []place {
		c.script("label: dos", "start=2048, size=204800, type=7", "start=206848, size=204800, type=7")
		c.format(mib, 204800*512, "mkntfs", "-Q", "-F", "-q")
		c.format(101*mib, 204800*512, "mkntfs", "-Q", "-F", "-q")
		return []place{{mib, 204800 * 512}, {101 * mib, 204800 * 512}}
	},
	"NTFS without a table": func(c oldCard) []place {
		c.format(0, oldBytes, "mkntfs", "-Q", "-F", "-q")
		return nil
	},
	"ext4 and swap in an MBR": func(c oldCard) []place {
		c.script("label: dos", "start=2048, size=204800, type=83", "start=206848, size=204800, type=82")
		c.format(mib, 204800*512, "mkfs.ext4", "-q", "-F")
		c.format(101*mib, 204800*512, "mkswap")
		return []place{{mib, 204800 * 512}, {101 * mib, 204800 * 512}}
	},
	"ext4 without a table": func(c oldCard) []place {
		c.format(0, oldBytes, "mkfs.ext4", "-q", "-F")
		return nil
	},
	"logical partitions": func(c oldCard) []place {
		c.script("label: dos", "start=2048, size=20480, type=c", "start=22528, type=5",
			"start=24576, size=102400, type=c", "start=129024, size=102400, type=7")
		c.format(24576*512, 102400*512, "mkfs.fat", "-F", "32")
		c.format(129024*512, 102400*512, "mkfs.exfat")
		return []place{{24576 * 512, 102400 * 512}, {129024 * 512, 102400 * 512}}
	},
	"a GPT by sgdisk": func(c oldCard) []place {
		run(c.t, "sgdisk", "-n", "1:2048:206847", "-t", "1:0700", "-n", "7:206848:0", "-t", "7:8300", c.path)
		c.format(mib, 204800*512, "mkfs.exfat")
		c.format(101*mib, 150*mib, "mkfs.ext4", "-q", "-F")
		return []place{{mib, 204800 * 512}, {101 * mib, 150 * mib}}
	},
	"a GPT by sfdisk, of many entries": func(c oldCard) []place {
		c.script("label: gpt", "table-length: 128", "start=2048, size=204800", "start=206848")
		c.format(101*mib, 150*mib, "mkfs.fat", "-F", "32")
		return []place{{101 * mib, 150 * mib}}
	},
	"a GPT whose first header is gone": func(c oldCard) []place {
		run(c.t, "sgdisk", "-n", "1:2048:0", c.path)
		c.format(mib, 200*mib, "mkfs.ext4", "-q", "-F")
		run(c.t, "dd", "if=/dev/zero", "of="+c.path, "bs=512", "seek=1", "count=1", "conv=notrunc", "status=none")
		return []place{{mib, 200 * mib}}
	},
	"RAID, whose mark is at the end": func(c oldCard) []place {
		f := openCard(c.t, c.path) // md 0.90: 64 KiB before the last whole 64 KiB
		_, err := f.WriteAt([]byte{0xfc, 0x4e, 0x2b, 0xa9}, oldBytes-64<<10)
		require.NoError(c.t, err)
		_, err = f.WriteAt([]byte{0, 0, 0, 0, 90, 0, 0, 0}, oldBytes-64<<10+4)
		require.NoError(c.t, err)
		return nil
	},
}

// A card is blank once it was begun: with everything that an older format left
// on it gone, by the word of blkid and wipefs (util-linux) and of our reader,
// on the whole card and where its partitions were.
func TestBlankedCardsHoldNothing(t *testing.T) {
	for name, make := range oldCards {
		t.Run(name, func(t *testing.T) {
			card := newOldCard(t)
			old := append(make(card), place{0, oldBytes})
			for _, p := range old {
				require.NotEmpty(t, card.seen(p.at, p.length), "the old format at %d", p.at)
			}
			m := openCard(t, card.path)
			o := shoptest.Kittiwake(t, t.TempDir()).Job(1).Write(t.Context(), []media.Target{{Medium: m, Judge: refuse}})[0]
			require.ErrorAs(t, o.Err, new(*media.Misread))
			for _, p := range old {
				assert.Empty(t, card.seen(p.at, p.length), "at %d", p.at)
			}
			assert.Empty(t, run(t, "wipefs", "--noheadings", card.path))
			assert.Empty(t, fatread.Read(m, oldBytes, fatread.Limits{}).Volumes)
		})
	}
}

func refuse(context.Context, io.ReaderAt, media.Record, string) error { return errors.New("refused") }

// A good card that is written over an older format is nothing but FAT32.
func TestOverAnOlderFormatThereIsOnlyFAT32(t *testing.T) {
	for name, make := range oldCards {
		t.Run(name, func(t *testing.T) {
			card := newOldCard(t)
			old := make(card)
			m := openCard(t, card.path)
			job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
			o := job.Write(t.Context(), []media.Target{judged(job, m)})[0]
			require.NoError(t, o.Err)
			for _, p := range old {
				if p.at != 4*mib {
					assert.Empty(t, card.seen(p.at, p.length), "at %d", p.at)
				}
			}
			assert.Contains(t, card.seen(4*mib, oldBytes-4*mib), `LABEL="KITTIWAKE"`)
			whole := card.seen(0, oldBytes)
			assert.Contains(t, whole, `PTTYPE="dos"`)
			assert.NotContains(t, whole, " TYPE=")
			found := strings.Fields(run(t, "wipefs", "--noheadings", "--output", "TYPE", card.path))
			assert.Equal(t, []string{"dos"}, found)
			table := run(t, "sfdisk", "-d", card.path)
			assert.Equal(t, 1, strings.Count(table, "start="), table)
			assert.Regexp(t, `start= *8192, size= *\d+, type=c`, table)
		})
	}
}
