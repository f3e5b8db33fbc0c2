package intake

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

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
	if held := lockFolder(folder, false); held != nil {
		return func() { held.Close() }, nil // it was opened for reading only
	}
	waiting()
	turn := make(chan io.Closer, 1)
	go func() { turn <- lockFolder(folder, true) }()
	select {
	case held := <-turn:
		return func() { held.Close() }, nil
	case <-ctx.Done():
		go func() { // whenever the turn comes
			held := <-turn
			held.Close()
		}()
		return nil, ctx.Err()
	}
}
