package readers

import (
	"context"
	"fmt"
)

// maxWholeDrives is the most drives that diskutil is asked about one by one.
const maxWholeDrives = 128

func listHere(ctx context.Context) ([]Drive, error) {
	list, err := run(ctx, "diskutil", "list", "-plist")
	if err != nil {
		return nil, err
	}
	ids, err := wholeDrives(list)
	if err != nil {
		return nil, fmt.Errorf("reading what diskutil lists: %w", err)
	}
	if len(ids) > maxWholeDrives {
		return nil, fmt.Errorf("diskutil lists %d drives, more than %d", len(ids), maxWholeDrives)
	}
	info := map[string][]byte{}
	for _, id := range ids {
		// One that has been unplugged since is listed as unknown.
		if about, err := run(ctx, "diskutil", "info", "-plist", id); err == nil {
			info[id] = about
		}
	}
	return ParseDiskutil(list, info)
}

// wholeDrives are the identifiers to ask `diskutil info` about.
func wholeDrives(list []byte) ([]string, error) {
	entries, err := diskutilEntries(list)
	if err != nil {
		return nil, err
	}
	ids := make([]string, 0, len(entries))
	for _, e := range entries {
		ids = append(ids, e.text("DeviceIdentifier"))
	}
	return ids, nil
}

// toolsOf is where the tool that lists drives comes from.
const toolsOf = "a part of macOS"
