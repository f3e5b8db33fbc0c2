package readers

import (
	"context"
	"os"
	"path"
)

func listHere(ctx context.Context) ([]Drive, error) {
	listing, err := run(ctx, "lsblk", lsblkArguments...)
	if err != nil {
		return nil, err
	}
	drives, err := ParseLsblk(listing)
	if err != nil {
		return nil, err
	}
	for i, d := range drives {
		if d.Transport != transportMMC {
			continue
		}
		card, err := cardOf(os.DirFS("/sys"), path.Base(d.Path))
		if err != nil { // taken out meanwhile, or failing
			drives[i].Unknown = append(d.Unknown, "card")
		}
		drives[i].Card = card
	}
	return drives, nil
}

// toolsOf is where the tool that lists drives comes from.
const toolsOf = "install util-linux"
