package intake

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/place"
)

// TakeTurn waits until no other program adds to the shop's packages or changes what
// the catalogue says of them; leave ends this program's turn. waiting is called if
// it has to wait. Taking turns only saves work: what is written is compared with
// what was read, whoever wrote it.
func TakeTurn(ctx context.Context, shop *manifest.Shop, waiting func()) (leave func(), err error) {
	dir := media.PackagesOf(shop).Dir
	if err := place.MayMake(filepath.Join(dir, "package")); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("making the package folder: %w", err)
	}
	folder, err := os.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("opening the package folder: %w", err)
	}
	held, err := place.HoldFolder(folder)
	if errors.Is(err, place.ErrHeld) {
		waiting()
	}
	for errors.Is(err, place.ErrHeld) {
		select {
		case <-time.After(askAgain):
			held, err = place.HoldFolder(folder)
		case <-ctx.Done():
			return nil, errors.Join(ctx.Err(), folder.Close())
		}
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("waiting for the package folder: %w", err), folder.Close())
	}
	return func() { held.Close() }, nil // it was opened for reading only
}

// askAgain is how long a program waits before it asks again for its turn.
const askAgain = 100 * time.Millisecond
