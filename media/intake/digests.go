package intake

import (
	"crypto/sha256"
	"crypto/sha512"
	"errors"
	"fmt"
	"hash"
	"io"

	"aead.dev/minisign"
)

// hash reads the download whole, and for its signature where it has one.
func (x *examination) hash() error {
	var err error
	if x.evidence, err = gather(x.request.Path, x.request.List); err != nil {
		return err
	}
	sum256, sum512 := sha256.New(), hash.Hash(nil)
	to := io.Writer(sum256)
	if x.evidence.sha512 {
		sum512 = sha512.New()
		to = io.MultiWriter(sum256, sum512)
	}
	var in io.Reader = x.file
	if x.evidence.signature != nil {
		x.hashed = minisign.NewReader(x.file)
		in = x.hashed
	}
	n, err := copyAll(x.ctx, to, in, x.progress)
	if err != nil {
		return fmt.Errorf("reading the download: %w", err)
	}
	if info, err := x.file.Stat(); err != nil || info.Size() != n || n != x.size {
		return errors.Join(err, x.refuse("a download that is still being written", fmt.Sprintf("%d bytes read", n), fmt.Sprintf("%d bytes, as there were at first", x.size), "wait until it is finished"))
	}
	x.sums.sha256 = hexOf(sum256.Sum(nil))
	if sum512 != nil {
		x.sums.sha512 = hexOf(sum512.Sum(nil))
	}
	x.head = make([]byte, min(x.size, 512))
	if _, err := x.file.ReadAt(x.head, 0); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("reading the download: %w", err)
	}
	return nil
}
