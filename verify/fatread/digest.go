package fatread

import (
	"crypto/sha256"
	"errors"
	"io"
	"strconv"
)

// ErrNoDigest is given where a card can't have one.
var ErrNoDigest = errors.New("no digest of the card could be formed")

// Digest is a card's digest: SHA-256 over its size in bytes (decimal, then a
// line feed), its bytes up to the end of the second FAT, each folder's
// clusters by ascending place, and the SHA-256 of each file that isn't empty
// by ascending place. fileSHA256 gives the digest of a file that was read.
//
// Where the drive fails meanwhile the error is a ReadError; else it is
// ErrNoDigest: the card isn't a single FAT32 volume with nothing unread, or a
// file's digest isn't known.
func (c *Card) Digest(fileSHA256 func(Entry) ([32]byte, bool)) (sum [32]byte, err error) {
	unread := c.Counts[ReadFailed] > 0 || c.Counts[LimitReached] > 0
	if len(c.Partitions) != 1 || len(c.Volumes) != 1 || c.Volumes[0].FileSystem != FAT32 || unread {
		return sum, ErrNoDigest
	}
	v := &c.Volumes[0]
	h := sha256.New()
	io.WriteString(h, strconv.FormatInt(c.Bytes, 10)+"\n")
	if err := c.digestHead(h, v); err != nil {
		return sum, err
	}
	folders, files := v.byPlace()
	for _, e := range folders {
		if _, err := io.Copy(h, v.open(*e, e.ChainClusters*int64(v.ClusterBytes))); err != nil {
			return sum, err
		}
	}
	for _, e := range files {
		digest, known := fileSHA256(*e)
		if !known {
			return sum, ErrNoDigest
		}
		h.Write(digest[:])
	}
	return [32]byte(h.Sum(nil)), nil
}

// digestHead writes what comes before a volume's clusters.
func (c *Card) digestHead(h io.Writer, v *Volume) (err error) {
	if v.fat == nil {
		return ErrNoDigest
	}
	end := v.fat.start + 2*v.FATBytes
	if v.FATs != 2 || len(v.fat.copies) != 1 || end > min(c.limits.DigestHead, c.src.size) {
		return ErrNoDigest
	}
	c.src.each(0, end, make([]byte, readBytes), func(off int64, b []byte, failed error) bool {
		if failed != nil {
			err = &ReadError{Offset: off, Err: failed}
			return false
		}
		h.Write(b)
		return true
	})
	return err
}

// byPlace gives what has clusters by the place of the first.
func (v *Volume) byPlace() (folders, files []*Entry) {
	folders = []*Entry{&v.Root}
	for i := range v.Entries {
		if e := &v.Entries[i]; e.Dir {
			folders = append(folders, e)
		}
	}
	sortByPlace(folders)
	for _, e := range v.filesByPlace() {
		if e.Size > 0 {
			files = append(files, e)
		}
	}
	return folders, files
}
