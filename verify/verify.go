package verify

import (
	"context"
	"io"
)

// Progress gets how many more bytes of files were read.
type Progress func(bytes int64)

// Card judges a card of this many bytes. Reads must come from the medium and
// not from a cache; the caller sees to that, or adds a NotFromMedium finding
// with Report.AddCached. expected may be nil: then the contents are reported and the
// verdict is at best unchecked.
func Card(ctx context.Context, medium io.ReaderAt, bytes int64, expected *Expected, progress Progress) Report {
	card := readCard(ctx, medium, bytes, progress)
	return conclude(judge(match(ctx, card, expected.orRecord())))
}

// Folder judges a card that is mounted, or any folder that stands for one.
// Its file system can't be judged this way, and what may have come from a
// cache is said to be so.
func Folder(ctx context.Context, dir string, expected *Expected, progress Progress) Report {
	card := readFolder(ctx, dir, progress)
	return conclude(judge(match(ctx, card, expected.orRecord())))
}
