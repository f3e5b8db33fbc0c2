package readers

import (
	"fmt"
	"strings"
)

// A listing is from the system's own tool, but what stands in it (labels,
// model names) is from strangers' cards and readers.
const (
	maxListing = 4 << 20 // bytes of one listing
	maxDrives  = 4096    // drives and parts in one listing
	maxDepth   = 16      // levels of things built on one another
	maxText    = 1024    // bytes of one text
	maxBytes   = 1 << 60 // of one drive
)

func checkLength(listing []byte) error {
	if len(listing) > maxListing {
		return fmt.Errorf("the listing is longer than %d bytes", maxListing)
	}
	return nil
}

// clean takes the padding off a text and cuts it at maxText.
func clean(text string) string {
	text = strings.TrimSpace(strings.ToValidUTF8(text, "\uFFFD"))
	if len(text) > maxText {
		text = strings.ToValidUTF8(text[:maxText], "") // without a letter that was cut
	}
	return text
}

// tally counts the drives of one listing and how deep they are nested.
type tally struct{ drives int }

func (t *tally) add(depth int) error {
	t.drives++
	switch {
	case t.drives > maxDrives:
		return fmt.Errorf("the listing has more than %d drives and parts", maxDrives)
	case depth > maxDepth:
		return fmt.Errorf("the listing nests drives more than %d deep", maxDepth)
	}
	return nil
}

func (t *tally) addAll(d Drive) error {
	for range d.all() {
		if err := t.add(1); err != nil {
			return err
		}
	}
	return nil
}
