package verify

import (
	"fmt"
	"strings"
	"time"

	"cardwright/media"
	"cardwright/verify/fatread"
)

// headBytes is where the first sectors of every file system in use stand that a
// card can begin with; a card that was blanked has zeros there.
const headBytes = 16 << 10

// blankHead tells whether a card begins with nothing.
func blankHead(read interface {
	ReadAt(p []byte, at int64) (int, error)
}, bytes int64,
) bool {
	head := make([]byte, min(bytes, headBytes))
	n, _ := read.ReadAt(head, 0)
	return n == len(head) && strings.Trim(string(head), "\x00") == ""
}

// whatElse looks for what a card holds beside file systems that are read.
func (g *Glance) whatElse(card *fatread.Card, blankHead bool) {
	g.Blank = g.FileSystem == ""
	for _, p := range card.Partitions {
		switch p.FileSystem {
		case fatread.FAT12, fatread.FAT16, fatread.FAT32, fatread.ExFAT, fatread.Blank:
			continue
		case fatread.Unknown, fatread.Scrambled:
			if p.Number == 0 && blankHead {
				continue // what is left behind the head of a card that was blanked
			}
		}
		g.Other, g.Blank = p.FileSystem, false
	}
	g.Blank = g.Blank && (blankHead || len(card.Partitions) > 0)
}

// Is tells whether a card is, by its record, the one of which r is the record or
// an earlier making of the same: same shop, vessel and number, and nothing of
// anybody else's beside it.
func (g Glance) Is(r media.Record) bool {
	have := g.Record
	return have != nil && have.Shop == r.Shop && have.Vessel == r.Vessel && have.Card == r.Card && !g.HasOthers()
}

// HasOthers tells whether something is lost with a card that no record lists:
// files, what couldn't be read, or something that is no file system known here.
func (g Glance) HasOthers() bool {
	return len(g.Foreign) > 0 || g.Unread || g.Unknown()
}

// Unknown tells of a card with something on it that is no file system known here.
func (g Glance) Unknown() bool { return g.FileSystem == "" && !g.Blank }

// Making is what a shop's ledger has of the making of a card.
type Making struct {
	At     time.Time
	Proven bool
}

// Holds says in a few words what a card holds, as seen from the shop of that
// name; note is nil where no ledger tells of the card.
func (g Glance) Holds(shop string, note *Making) string {
	var parts []string
	if g.Record != nil {
		parts = append(parts, g.made(shop, note))
	}
	switch others := g.others(); {
	case others != "" && g.Record != nil:
		parts = append(parts, "beside it, somebody else's: "+others)
	case others != "":
		parts = append(parts, "somebody else's: "+others)
	case g.Record != nil:
	case g.Blank && g.FileSystem == "":
		parts = append(parts, "nothing: it is blank")
	case g.Unknown():
		parts = append(parts, g.other())
	default:
		parts = append(parts, "no files: "+g.FileSystem+", empty")
	}
	return strings.Join(parts, "; ")
}

// made tells by its record whose card it is.
func (g Glance) made(shop string, note *Making) string {
	r := g.Record
	name := r.VesselName
	if name == "" {
		name = r.Vessel
	}
	text := fmt.Sprintf("%s's card %d of %d, made by %s", name, r.Card, r.Of, r.Shop)
	if r.Shop == shop {
		text = fmt.Sprintf("%s's card %d of %d, made here", name, r.Card, r.Of)
	}
	if note != nil {
		text += " on " + note.At.Local().Format("2006-01-02")
	}
	switch lacking := g.lacking(); {
	case lacking > 0:
		text += fmt.Sprintf(", not whole: %d of its %d files are missing or of another size", lacking, len(r.Files))
	case note != nil && note.Proven:
		text += ", proven"
	}
	return text
}

// lacking counts the record's files that aren't there, by name and size.
func (g Glance) lacking() (n int) {
	for _, f := range g.Record.Files {
		if size, ok := g.sizes[key(f.Path)]; !ok || size != f.Size {
			n++
		}
	}
	return n
}

// other is what can't be read here, in words.
func (g Glance) other() string {
	switch g.Other {
	case "", fatread.Unknown:
		return "something that is no file system known here"
	case fatread.Scrambled:
		return "bytes without any pattern: encrypted, or wiped"
	}
	return "what can't be read here: " + g.Other
}

func (g Glance) others() string {
	var parts []string
	for _, lot := range Lots(g.Foreign) {
		parts = append(parts, fmt.Sprintf("%s: %d", lot.Sort, lot.Count))
	}
	if g.Unread {
		parts = append(parts, "what couldn't be read")
	}
	if g.Other != "" && (g.Record != nil || len(g.Foreign) > 0) {
		parts = append(parts, g.other())
	}
	return strings.Join(parts, ", ")
}
