package verify

import (
	"crypto/sha256"
	"fmt"
	"io"

	"cardwright/manifest/digest"
	"cardwright/media"
)

// beginning reports the beginning of a known package, and no more.
func (i *identifier) beginning(f *file) *identified {
	for _, p := range i.known.named(f) {
		if f.Size < p.Size && beginsLike(f, i.open(p)) {
			i.instead(p.SHA256, "its beginning is at "+f.Path)
			return &identified{f, truncated.meaningOf(p.String()), media.Bytes(p.Size), stopsAt(f.Size, p.Size)}
		}
	}
	return nil
}

// stopsAt says that a file of so many bytes should have had more.
func stopsAt(have, want int64) string {
	return fmt.Sprintf("%s: it stops at byte %d, %s are missing", media.Bytes(have), have, media.Bytes(want-have))
}

// isBeginning reports whether a file is the beginning of the wanted one: by the
// package where that is at hand, or by the record's running digests.
func (c comparer) isBeginning(p pairing) bool {
	if p.found.Size >= p.want.Size {
		return false
	}
	if beginsLike(p.found, c.open(p.want)) {
		return true
	}
	full, have, want := p.found.Size/media.BlockSize, p.found.Running, p.want.Running
	return full > 0 && int64(len(want)) > full && int64(len(have)) >= full &&
		p.found.Size%media.BlockSize == 0 && want[full-1] == have[full-1]
}

// beginsLike reports whether a package begins with all of a file. A package that
// can't be read is like nothing.
func beginsLike(f *file, pkg func() (io.ReadCloser, error)) bool {
	if pkg == nil {
		return false
	}
	want, err := pkg()
	if err != nil {
		return false
	}
	defer want.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, io.LimitReader(want, f.Size))
	return err == nil && n == f.Size && f.is(digest.Sum(sum))
}
