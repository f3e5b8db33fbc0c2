package readers

import (
	"fmt"
	"strings"
)

// A listing comes from the system's own tool, but the labels and model names in it
// come from strangers' cards and readers.
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

// trimmed is a text without its padding, cut at maxText.
func trimmed(text string) string {
	text = strings.TrimSpace(strings.ToValidUTF8(text, "\uFFFD"))
	if len(text) > maxText {
		text = strings.ToValidUTF8(text[:maxText], "") // without a letter that was cut
	}
	return text
}

// counter counts the drives of one listing, and refuses too many or too deeply
// nested ones.
type counter struct{ drives int }

func (t *counter) add(depth int) error {
	t.drives++
	switch {
	case t.drives > maxDrives:
		return fmt.Errorf("the listing has more than %d drives and parts", maxDrives)
	case depth > maxDepth:
		return fmt.Errorf("the listing nests drives more than %d deep", maxDepth)
	}
	return nil
}

func (t *counter) addAll(d Drive) error {
	for range d.all() {
		if err := t.add(1); err != nil {
			return err
		}
	}
	return nil
}
