package media

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"sync"

	"cardwright/media/fat32"
)

// Phase is a part of the work that takes long enough to be shown.
type Phase string

// The phases of writing a card, in their order.
const (
	Writing     Phase = "writing"
	ReadingBack Phase = "reading back"
)

// Progress gets how many more payload bytes a phase has done. It may be
// called from several goroutines at once.
type Progress func(phase Phase, bytes int64)

// Target is where one copy of a card goes.
type Target struct {
	Medium Medium
	// Judge reads the card as it will be: the medium's bytes, overlaid with the boot
	// sectors and the partition table, which aren't written yet. record is what was
	// meant to be written; digest is the card's.
	Judge func(ctx context.Context, read io.ReaderAt, record Record, digest string) error
}

// Outcome is what became of one target.
type Outcome struct {
	Record  Record
	Digest  string // of the card, 64 hex digits; "" on failure
	Written int64  // bytes written to the medium, blanking included
	Err     error  // nil: the card is proven
	Left    FolderState
}

// FolderState is what a failure left of a folder target.
type FolderState int

// The states of a folder after a failure.
const (
	FolderUntouched  FolderState = iota
	FolderCleared                // what was written is removed
	FolderWithoutOld             // the same, and our earlier card there is gone
	FolderUnknown                // it could not be cleared
)

// NotBlank says that a card could not be blanked after a failure: what it holds is
// unknown.
type NotBlank struct{ Cause, Blanking error }

func (e *NotBlank) Error() string {
	return fmt.Sprintf("%v; and the card could not be blanked (%v): don't use it", e.Cause, e.Blanking)
}

func (e *NotBlank) Unwrap() []error { return []error{e.Cause, e.Blanking} }

// Misread is a card, or the copy of one, that reads back otherwise than it was
// written.
type Misread struct {
	Err    error
	Advice string // "" where Err says what to do
}

func (e *Misread) Error() string {
	text := "what was read back differs: " + e.Err.Error()
	if e.Advice != "" {
		text += ": " + e.Advice
	}
	return text
}

// anotherCard is what to do about a card that reads back otherwise.
const anotherCard = "use another card"

func (e *Misread) Unwrap() error { return e.Err }

// Job is one card of a layout, for all targets that get a copy of it.
type Job struct {
	Layout       Layout
	Card         Card
	Packages     Packages
	InstallOrder []byte                              // text for the card, marked as a plan
	Sign         func(record []byte) ([]byte, error) // nil: the record isn't signed
	Progress     Progress                            // may be nil
}

// Prepare lays a card out for a medium of this many bytes, or says why it can't be
// done. Nothing is read or written.
func (j Job) Prepare(bytes int64) (*fat32.Layout, error) {
	if err := j.Card.Limits.Check(bytes); err != nil {
		return nil, err
	}
	spec := fat32.Spec{
		Bytes: bytes, Label: j.Card.Label, VolumeID: j.Card.VolumeID, Made: j.Card.Modified,
	}
	for _, f := range j.Card.Files {
		spec.Files = append(spec.Files, fat32.File{Path: f.Path, Size: f.Size, Modified: j.Card.Modified})
	}
	own, err := j.recordFiles()
	if err != nil {
		return nil, err
	}
	for _, f := range own {
		spec.Files = append(spec.Files, fat32.File{Path: f.Path, Size: f.Size, Modified: j.Card.Modified})
	}
	return fat32.Lay(spec)
}

// recordFiles are the files of the record's folder and their sizes; none on a card
// that holds its package alone.
func (j Job) recordFiles() ([]fat32.File, error) {
	if j.Card.Alone {
		return nil, nil
	}
	if len(j.InstallOrder) > installOrderRoom {
		return nil, fmt.Errorf("install order of %s, expected at most %s", Bytes(int64(len(j.InstallOrder))), Bytes(installOrderRoom))
	}
	files, err := recordFiles(j.Layout.Record(j.Card), int64(len(j.InstallOrder)))
	if err != nil || j.Sign == nil {
		return files, err
	}
	signature, err := j.Sign([]byte("{}")) // its length doesn't depend on what is signed
	if err != nil {
		return nil, fmt.Errorf("signing the record: %w", err)
	}
	return append(files, fat32.File{Path: SignaturePath, Size: int64(len(signature))}), nil
}

// Write writes one card to all targets at once; each package is read and hashed
// once. A target that fails doesn't stop the others: it is left blank, or its error
// is a *NotBlank. The order of writing sees to it that a card which a device could
// start from is a proven card, at every moment:
//
//  1. blank everything that could be taken for a file system, and sync;
//  2. write all but the boot sectors and the partition table, and sync;
//  3. read it back from the medium, and have it judged;
//  4. only then write the backup boot sector, the boot sector and the
//     partition table, with a sync after each, and read them back.
func (j Job) Write(ctx context.Context, targets []Target) []Outcome {
	outcomes := make([]Outcome, len(targets))
	feed := newFeed(j.Card.Files, j.Packages, len(targets))
	var wait sync.WaitGroup
	for i := range targets {
		c := &cardWriter{job: j, target: targets[i], medium: &counting{Medium: targets[i].Medium}, lane: feed.lanes[i]}
		wait.Go(func() {
			outcomes[i] = c.run(ctx)
		})
	}
	feed.run(ctx)
	wait.Wait()
	return outcomes
}

// Blank overwrites everything on a medium that a device could take for a file
// system.
func (j Job) Blank(m Medium) error {
	layout, err := j.Prepare(m.Bytes())
	if err != nil {
		return err
	}
	c := cardWriter{job: j, medium: &counting{Medium: m}, layout: layout}
	return c.blank()
}

// cardWriter writes one card to one target.
type cardWriter struct {
	job    Job
	target Target
	medium *counting
	lane   *lane
	layout *fat32.Layout
}

func (c *cardWriter) run(ctx context.Context) Outcome {
	defer c.lane.leave()
	layout, err := c.job.Prepare(c.medium.Bytes())
	if err != nil {
		return Outcome{Err: err}
	}
	c.layout = layout
	record, digest, err := c.write(ctx)
	if err != nil {
		c.lane.leave()
		if blanking := c.blank(); blanking != nil {
			err = &NotBlank{err, blanking}
		}
		return Outcome{Written: c.medium.written, Err: err}
	}
	return Outcome{Record: record, Digest: digest, Written: c.medium.written}
}

func (c *cardWriter) write(ctx context.Context) (Record, string, error) {
	if err := c.blank(); err != nil {
		return Record{}, "", fmt.Errorf("blanking the card: %w", err)
	}
	if err := c.layout.WriteStructures(c.medium); err != nil {
		return Record{}, "", fmt.Errorf("writing the file system: %w", err)
	}
	record, own, err := c.files(ctx)
	if err != nil {
		return Record{}, "", err
	}
	digest := c.digest(record, own)
	if err := c.medium.Sync(); err != nil {
		return Record{}, "", fmt.Errorf("syncing the card: %w", err)
	}
	if err := c.readBack(ctx, record, digest); err != nil {
		return Record{}, "", err
	}
	return record, digest, c.boot(ctx)
}

// files writes the payload as it comes down the lane, then the record's folder,
// whose contents are known only once the payload has been hashed.
func (c *cardWriter) files(ctx context.Context) (Record, [][]byte, error) {
	out := &gather{w: c.medium, buffer: alignedBytes(blockBytes)}
	placed := c.layout.Files()
	for b := range c.lane.blocks {
		err := c.writeBlock(ctx, out, placed, b)
		b.release()
		if err != nil {
			return Record{}, nil, err
		}
	}
	running, err := c.lane.result()
	if err != nil {
		return Record{}, nil, err
	}
	record := c.job.Layout.Record(c.job.Card)
	for i := range record.Files {
		record.Files[i].Running = running[i]
	}
	own, err := c.job.recordContents(&record)
	if err != nil {
		return Record{}, nil, err
	}
	for i, content := range own {
		p := placed[len(c.job.Card.Files)+i]
		if int64(len(content)) != p.Size {
			return Record{}, nil, fmt.Errorf("writing %s: it has %d bytes, and %d were laid out", p.Path, len(content), p.Size)
		}
		if err := writeFile(out, p, content); err != nil {
			return Record{}, nil, err
		}
	}
	return record, own, out.flush()
}

func (c *cardWriter) writeBlock(ctx context.Context, out *gather, placed []fat32.Placed, b *block) error {
	for _, s := range b.segments {
		if err := ctx.Err(); err != nil {
			return err
		}
		p := placed[s.file]
		if err := out.write(p.Offset+s.at, b.bytes[s.from:s.to]); err != nil {
			return fmt.Errorf("writing %s: %w", p.Path, err)
		}
		n := int64(s.to - s.from)
		if s.at+n == p.Size {
			if err := out.pad(p.Offset+p.Size, p.Offset+p.Padded()); err != nil {
				return fmt.Errorf("writing %s: %w", p.Path, err)
			}
		}
		c.progress(Writing, n)
	}
	return nil
}

func writeFile(out *gather, p fat32.Placed, content []byte) error {
	if err := out.write(p.Offset, content); err != nil {
		return fmt.Errorf("writing %s: %w", p.Path, err)
	}
	if err := out.pad(p.Offset+p.Size, p.Offset+p.Padded()); err != nil {
		return fmt.Errorf("writing %s: %w", p.Path, err)
	}
	return nil
}

// recordContents are the contents of the record's folder, in the order of
// recordFiles. It completes the record.
func (j Job) recordContents(r *Record) ([][]byte, error) {
	if j.Card.Alone {
		return nil, nil
	}
	r.InstallOrder = NewRecordFile(InstallOrderPath, j.InstallOrder)
	text, err := r.Encode()
	if err != nil {
		return nil, err
	}
	contents := [][]byte{j.InstallOrder, text, r.Sums(text)}
	if j.Sign == nil {
		return contents, nil
	}
	signature, err := j.Sign(text)
	if err != nil {
		return nil, fmt.Errorf("signing the record: %w", err)
	}
	return append(contents, signature), nil
}

// digest is the card's digest, as fat32 defines it.
func (c *cardWriter) digest(r Record, own [][]byte) string {
	sum := c.layout.Digest(func(i int) (d [sha256.Size]byte) {
		if i >= len(r.Files) {
			return sha256.Sum256(own[i-len(r.Files)])
		}
		hex.Decode(d[:], []byte(r.Files[i].SHA256)) // which the feed has compared with the bytes
		return d
	})
	return hex.EncodeToString(sum[:])
}

func (c *cardWriter) readBack(ctx context.Context, r Record, digest string) error {
	if err := c.medium.Forget(); err != nil {
		return fmt.Errorf("dropping caches before reading back: %w", err)
	}
	read := c.layout.Overlay(c.medium)
	if err := c.target.Judge(ctx, read, r, digest); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return &Misread{err, anotherCard}
	}
	return ctx.Err()
}

// boot makes the proven card startable, and reads back what makes it so.
func (c *cardWriter) boot(ctx context.Context) error {
	for _, w := range c.layout.Boot() {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := c.medium.WriteAt(w.Data, w.Offset); err != nil {
			return fmt.Errorf("writing the %s: %w", w.What, err)
		}
		if err := c.medium.Sync(); err != nil {
			return fmt.Errorf("syncing the %s: %w", w.What, err)
		}
	}
	if err := c.medium.Forget(); err != nil {
		return fmt.Errorf("dropping caches before reading back: %w", err)
	}
	for _, w := range c.layout.Boot() {
		got := make([]byte, len(w.Data))
		if _, err := c.medium.ReadAt(got, w.Offset); err != nil {
			return fmt.Errorf("reading back the %s: %w", w.What, err)
		}
		if !bytes.Equal(got, w.Data) {
			return &Misread{fmt.Errorf("the %s", w.What), anotherCard}
		}
	}
	return nil
}

// blank overwrites everything that a device could take for a file system.
func (c *cardWriter) blank() error {
	if m, ok := c.medium.Medium.(interface{ AllZero() bool }); ok && m.AllZero() {
		return nil
	}
	old := oldStructures(c.medium)
	for _, w := range c.layout.Boot() { // of a partition that no table lists yet
		old.backups = append(old.backups, fat32.Extent{Offset: w.Offset, Length: int64(len(w.Data))})
	}
	for _, extents := range [][]fat32.Extent{old.first, old.backups, append(old.rest, c.layout.Blank()...)} {
		if err := writeZeros(c.medium, extents); err != nil {
			return err
		}
		if err := c.medium.Sync(); err != nil {
			return err
		}
	}
	return nil
}

func (c *cardWriter) progress(p Phase, n int64) {
	if c.job.Progress != nil {
		c.job.Progress(p, n)
	}
}

// counting counts what is written to a medium.
type counting struct {
	Medium
	written int64
}

func (m *counting) WriteAt(p []byte, at int64) (int, error) {
	n, err := m.Medium.WriteAt(p, at)
	m.written += int64(n)
	if err == nil && n < len(p) {
		err = io.ErrShortWrite
	}
	return n, err
}

// Interrupted reports that an outcome's error is an interruption, and no fault of
// card or packages.
func Interrupted(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}
