//go:build linux

package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/sys/unix"
)

// same FILE FILE: byte for byte, also where they are of a card's size.
func same(ts *testscript.TestScript, neg bool, args []string) {
	err := sameBytes(ts.MkAbs(args[0]), ts.MkAbs(args[1]))
	if neg == (err == nil) {
		ts.Fatalf("%s and %s: %v", args[0], args[1], err)
	}
}

// sameBytes compares two files. Of a card's image nearly all is a hole, which
// reads as zeros (lseek(2), SEEK_DATA): only what one of the two has written is
// read, of both.
func sameBytes(a, b string) error {
	one, err := os.Open(a)
	if err != nil {
		return err
	}
	defer one.Close()
	other, err := os.Open(b)
	if err != nil {
		return err
	}
	defer other.Close()
	oneInfo, err := one.Stat()
	if err != nil {
		return err
	}
	otherInfo, err := other.Stat()
	if err != nil {
		return err
	}
	if oneInfo.Size() != otherInfo.Size() {
		return fmt.Errorf("%d and %d bytes", oneInfo.Size(), otherInfo.Size())
	}
	compare := func(from, to int64) error { return sameRange(one, other, from, to) }
	return errors.Join(eachWritten(one, oneInfo.Size(), compare), eachWritten(other, otherInfo.Size(), compare))
}

// eachWritten calls do with every range of a file that is no hole.
func eachWritten(f *os.File, size int64, do func(from, to int64) error) error {
	for at := int64(0); at < size; {
		from, err := unix.Seek(int(f.Fd()), at, unix.SEEK_DATA)
		if errors.Is(err, unix.ENXIO) { // only a hole is left
			return nil
		}
		if err != nil {
			return err
		}
		if at, err = unix.Seek(int(f.Fd()), from, unix.SEEK_HOLE); err != nil {
			return err
		}
		if err := do(from, at); err != nil {
			return err
		}
	}
	return nil
}

func sameRange(a, b io.ReaderAt, from, to int64) error {
	const most = 1 << 20
	one, other := make([]byte, most), make([]byte, most)
	for ; from < to; from += most {
		n := min(most, to-from)
		for _, r := range []struct {
			io.ReaderAt
			into []byte
		}{{a, one}, {b, other}} {
			if _, err := r.ReadAt(r.into[:n], from); err != nil && !errors.Is(err, io.EOF) {
				return err
			}
		}
		if !bytes.Equal(one[:n], other[:n]) {
			return fmt.Errorf("they differ between byte %d and %d", from, from+n)
		}
	}
	return nil
}
