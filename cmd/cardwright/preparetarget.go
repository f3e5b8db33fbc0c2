package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/drive"
	"cardwright/media/place"
	"cardwright/media/readers"
	"cardwright/verify"
)

// cardTarget is one --to of prepare.
type cardTarget struct {
	path     string
	kind     targetKind
	bytes    int64 // measured, or the image's to be; 0 for a folder
	job      media.Job
	medium   media.Medium // opened by guard
	report   *verify.Report
	capacity *capacity.Result // nil: not asked for
	failed   error            // why it isn't to be written after all

	signers []*manifest.Trust // whose signature the record has to have; none: it isn't signed

	image *drive.Image
	drive *drive.Drive

	ejected    bool
	unreleased error // what did not go well when the drive was given back; the card is what it is
}

// target finds out what a --to is and how large a card it stands for. Nothing
// is opened for writing yet.
func (p *preparing) target(ctx context.Context, path string) (*cardTarget, error) {
	kind, err := kindOf(path)
	if err != nil {
		return nil, err
	}
	t := &cardTarget{path: path, kind: kind}
	switch kind {
	case driveTarget:
		t.bytes, err = driveBytes(ctx, path)
	case imageTarget:
		t.bytes, err = p.imageBytes(path)
	case folderTarget:
		err = place.MayMake(filepath.Join(path, place.Pending))
	}
	return t, err
}

// driveBytes is the size of a drive that may be erased; whether it is of the
// right size is judged once it is known what the devices take.
func driveBytes(ctx context.Context, path string) (int64, error) {
	listed, err := listedDrive(ctx, path)
	if err != nil {
		return 0, err
	}
	return listed.Bytes, mayErase(path, listed, readers.Limits{Least: 1, Most: anySize})
}

// anySize is more than any drive has, in bytes.
const anySize = 1 << 60

// imageBytes is --size, or without it the size of the image that is there.
func (p *preparing) imageBytes(path string) (int64, error) {
	if p.options.size != "" {
		bytes, err := media.ImageBytes(p.options.size)
		if err != nil {
			return 0, usage(err)
		}
		return bytes, nil
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, usage(fmt.Errorf("%s is not there yet: say with --size how large a card the image is for, such as --size 8GB", path))
	}
	if err != nil {
		return 0, fmt.Errorf("looking at %s: %w", path, err)
	}
	return info.Size(), nil
}

// guard opens a target for writing, if nothing is lost with it that the user
// didn't agree to lose.
func (p *preparing) guard(ctx context.Context, t *cardTarget) error {
	switch t.kind {
	case imageTarget:
		return p.guardImage(ctx, t)
	case driveTarget:
		return p.guardDrive(ctx, t)
	}
	return p.guardFolder(ctx, t)
}

func (p *preparing) guardImage(ctx context.Context, t *cardTarget) error {
	if _, err := os.Stat(t.path); err == nil {
		if err := p.mayReplace(ctx, t); err != nil {
			return err
		}
	}
	image, err := drive.CreateImage(t.path, t.bytes)
	if err != nil {
		return err
	}
	t.image, t.medium = image, image
	return nil
}

func isEmpty(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Size() == 0
}

// judge reads a written card back and compares it with what was meant to be
// written.
func (t *cardTarget) judge(ctx context.Context, read io.ReaderAt, r media.Record, digest string, bar *bar) error {
	expected := t.expected(r)
	expected.Digest, expected.Limits = digest, t.job.Card.Limits
	bar.now("reading back")
	report := verify.Card(ctx, read, t.bytes, &expected, bar.add)
	if m, ok := t.medium.(readable); ok {
		addHowRead(&report, t.kind, m)
	}
	t.report = &report
	return notGood(report)
}

func (t *cardTarget) judgeFolder(ctx context.Context, r media.Record, beside bool, bar *bar) error {
	expected := t.expected(r)
	expected.Beside = beside
	bar.now("reading back")
	report := verify.Folder(ctx, t.path, &expected, bar.add)
	t.report = &report
	if report.Verdict == verify.Unchecked { // a folder's own limits; said in the report
		for _, f := range report.Findings {
			if f.Kind == verify.Unreadable {
				return notGood(report)
			}
		}
		return nil
	}
	return notGood(report)
}

// expected is what a card that was just written should hold.
func (t *cardTarget) expected(r media.Record) verify.Expected {
	return verify.Expected{
		Record: r, Alone: t.job.Card.Alone, FileSystems: t.job.Card.FileSystems, Package: t.openPackage,
		Trusts: t.signers, Signed: len(t.signers) > 0 && !t.job.Card.Alone, Commands: cardCommands("TARGET", media.ShellWord(r.Vessel), nil, 0),
	}
}

// openPackage opens what a file of the card was copied from.
func (t *cardTarget) openPackage(path string) (io.ReadCloser, error) {
	for _, f := range t.job.Card.Files {
		if f.Path == path {
			return t.job.Packages.Open(f.Source)
		}
	}
	return nil, fs.ErrNotExist
}

// notGood is nil for a good report, and otherwise says the worst.
func notGood(r verify.Report) error {
	if r.Verdict == verify.Good {
		return nil
	}
	if len(r.Findings) == 0 {
		return fmt.Errorf("verdict %s", r.Verdict)
	}
	f := r.Findings[0]
	return fmt.Errorf("%s", strings.Join([]string{string(f.Kind), f.Path, "found", f.Found, "expected", f.Expected}, " "))
}

// finish puts a good image in its place and gives everything back.
func (t *cardTarget) finish(good bool) error {
	switch {
	case t.image != nil && good:
		image := t.image
		t.image, t.medium = nil, nil
		return errors.Join(image.Commit(), image.Close())
	case t.image != nil:
		image := t.image
		t.image, t.medium = nil, nil
		return image.Abandon()
	case t.drive != nil:
		d := t.drive
		t.drive, t.medium = nil, nil
		return d.Close()
	}
	return nil
}

// folderLeft says in what state a failure left a folder.
var folderLeft = map[media.FolderState]string{
	media.FolderUntouched:  "Nothing in the folder was touched.",
	media.FolderCleared:    "What was written to the folder was removed again.",
	media.FolderWithoutOld: "What was written to the folder was removed again, and the earlier card that\nstood there is gone.",
	media.FolderUnknown:    "The folder may hold anything: do not use it as a card.",
}

// leftover says in what state a failure left a target.
func (t *cardTarget) leftover(o media.Outcome) string {
	if errors.Is(o.Err, drive.ErrGone) {
		return "It is not finished: don't use it before it was prepared again."
	}
	if _, ok := errors.AsType[*media.NotBlank](o.Err); ok {
		return "The card may hold anything: do not use it."
	}
	switch t.kind {
	case imageTarget:
		return "No image was made, and nothing that stood there was touched."
	case folderTarget:
		return folderLeft[o.Left]
	}
	return "The card is blank: it holds no file system."
}
