package main

import (
	"context"
	"errors"
	"fmt"

	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/readers"
)

// withDrives adds to the error that a drive isn't there which drives there are.
func withDrives(ctx context.Context, err error) error {
	if _, ok := errors.AsType[*drive.NoDrive](err); !ok {
		return err
	}
	drives, listing := readers.List(ctx)
	if listing != nil {
		return fmt.Errorf("%w\nthe drives can't be listed: %w", err, listing)
	}
	var names []string
	for _, d := range drives {
		if d.InReader() {
			names = append(names, drivesWord(d))
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("%w\n%s", err, noReaders)
	}
	return fmt.Errorf("%w\ncardwright readers shows: %s", err, namedFew(names, "; "))
}

// drivesWord is a drive in a word or two.
func drivesWord(d readers.Drive) string {
	if d.Bytes == 0 {
		return d.Path + ", with no card in it"
	}
	return fmt.Sprintf("%s (%s, %s)", d.Path, media.Bytes(d.Bytes), described(d))
}
