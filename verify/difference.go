package verify

import (
	"fmt"
	"io"

	"cardwright/media"
)

// content is a small file's content.
func (f file) content() ([]byte, error) {
	in, err := f.open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	return io.ReadAll(io.LimitReader(in, media.MaxRecordBytes))
}

// firstDifference names the first byte that differs, where the package is at
// hand, or else the first MiB, where running digests are.
func (j *judging) firstDifference(f media.RecordFile, e file) string {
	if at, ok := j.againstPackage(f, e); ok {
		return fmt.Sprintf(", first different at byte %d of the file (MiB %d)", at, at/media.BlockSize)
	}
	want := f.Running
	if found, err := media.DecodeRecord(j.own[media.RecordPath]); err == nil {
		want = runningOf(found, f)
	}
	for i, d := range j.running[e.path] {
		if i < len(want) && d != want[i] {
			return fmt.Sprintf(", first different in MiB %d of the file (bytes %d to %d)",
				i, i*media.BlockSize, min(int64(i+1)*media.BlockSize, f.Size)-1)
		}
	}
	return ""
}

// runningOf takes running digests from the card's record only where it agrees
// on what the file should be.
func runningOf(r media.Record, f media.RecordFile) []string {
	for _, c := range r.Files {
		if c.Path == f.Path && c.SHA256 == f.SHA256 && c.Size == f.Size {
			return c.Running
		}
	}
	return nil
}

// againstPackage compares the file with its package, byte for byte. A package
// that can't be read, or is the same as the file, tells nothing.
func (j *judging) againstPackage(f media.RecordFile, e file) (at int64, ok bool) {
	if j.expected == nil || j.expected.Package == nil {
		return 0, false
	}
	return j.against(e, func() (io.ReadCloser, error) { return j.expected.Package(f.Path) }, f.Size)
}
