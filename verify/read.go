package verify

import (
	"cmp"
	"context"
	"encoding/hex"
	"io"
	"slices"

	"cardwright/media"
	"cardwright/verify/fatread"
)

// onCard is what was read of a card, or of a folder that stands for one: the
// first value on the way to a report.
type onCard struct {
	bytes  int64           // of the card; 0: a folder
	system *fatread.Card   // its partition table and file systems; nil: a folder
	volume *fatread.Volume // the one file system whose files were read; nil: none, or a folder
	folder *onFolder       // nil: a card
	medium *counting       // nil: a folder

	files      files
	own        map[string][]byte // contents of the record's folder, where they could be read
	blind      bool              // part of what describes the files couldn't be read: there may be more of them
	stopped    *file             // reading was interrupted before this file
	digest     string            // of the card, 64 hex digits; "" where it couldn't be formed
	undigested error             // why it couldn't
}

// hasFiles reports whether the files were read, so that they can be judged.
func (c onCard) hasFiles() bool { return c.folder != nil || c.volume != nil }

// readCard reads a card of this many bytes: its structure, its record, then
// every file from its first byte to its last.
func readCard(ctx context.Context, medium io.ReaderAt, bytes int64, progress Progress) onCard {
	counted := &counting{read: medium}
	c := onCard{bytes: bytes, medium: counted, system: fatread.Read(counted, bytes, fatread.DefaultLimits)}
	c.blind = slices.ContainsFunc(c.system.Faults, fatread.Fault.Unread)
	if len(c.system.Volumes) != 1 || c.system.Volumes[0].ClusterBytes == 0 { // several, or one that is only named
		return c
	}
	c.volume = &c.system.Volumes[0]
	c.files = filesOf(c.volume)
	c.own = c.files.recordFolder()
	c.stopped = hashAll(ctx, c.files, progress)
	c.digest, c.undigested = digestOf(c.system, c.files)
	return c
}

// counting counts the bytes that are asked of a card, whoever asks.
type counting struct {
	read  io.ReaderAt
	asked int64
}

func (c *counting) ReadAt(p []byte, off int64) (int, error) {
	c.asked += int64(len(p))
	return c.read.ReadAt(p, off)
}

// hashAll reads every file, in the order of its place, whether it is expected
// or not: the card's digest covers them all. It returns the file before which
// it was interrupted, or nil.
func hashAll(ctx context.Context, l files, progress Progress) *file {
	all := slices.DeleteFunc(slices.Clone(l.all), func(f *file) bool { return f.dir })
	slices.SortStableFunc(all, func(a, b *file) int { return cmp.Compare(a.place, b.place) })
	done := 0
	running := media.NewRunning()
	readAhead(ctx, all, func(p part) {
		running.Write(p.bytes)
		if progress != nil {
			progress(int64(len(p.bytes)))
		}
		if !p.last {
			return
		}
		if all[done].err = p.err; p.err == nil {
			all[done].SHA256, all[done].Running = running.SHA256(), running.Digests()
		}
		running = media.NewRunning()
		done++
	})
	if done < len(all) {
		return all[done]
	}
	return nil
}

// digestOf forms the card's digest from those of its files.
func digestOf(card *fatread.Card, l files) (string, error) {
	sum, err := card.Digest(func(e fatread.Entry) (d [32]byte, ok bool) {
		f := l.byPath[e.Path]
		if f == nil {
			return d, false
		}
		n, err := hex.Decode(d[:], []byte(f.SHA256))
		return d, err == nil && n == len(d)
	})
	if err != nil {
		return "", err
	}
	return hex.EncodeToString(sum[:]), nil
}
