package verify

import (
	"fmt"
	"io"
	"strings"
	"time"

	"cardwright/verify/fatread"
)

// headBytes is where the first sectors of every file system in use stand that a
// card can begin with; a card that was blanked has zeros there.
const headBytes = 16 << 10

// blankHead reports whether a card begins with nothing.
func blankHead(read io.ReaderAt, bytes int64) bool {
	head := make([]byte, min(bytes, headBytes))
	n, _ := read.ReadAt(head, 0)
	return n == len(head) && strings.Trim(string(head), "\x00") == ""
}

// whatElse looks for what a card holds besides file systems that are read.
func (l *Listing) whatElse(card *fatread.Card, blankHead bool) {
	l.Blank = l.FileSystem == ""
	for _, p := range card.Partitions {
		switch p.FileSystem {
		case fatread.FAT12, fatread.FAT16, fatread.FAT32, fatread.ExFAT, fatread.Blank:
			continue
		case fatread.Unknown, fatread.Scrambled:
			if p.Number == 0 && blankHead {
				continue // what is left behind the head of a card that was blanked
			}
		}
		l.Other, l.Blank = p.FileSystem, false
	}
	l.Blank = l.Blank && (blankHead || len(card.Partitions) > 0)
}

// Making is what a shop's ledger has of the making of a card.
type Making struct {
	At     time.Time
	Proven bool
}

// Holds says in a few words what a card holds, as seen from the shop of that
// name; note is nil where no ledger has the card.
func (l Listing) Holds(shop string, note *Making) string {
	var parts []string
	if l.Record != nil {
		parts = append(parts, l.made(shop, note))
	}
	switch others := l.others(); {
	case others != "" && l.Record != nil:
		parts = append(parts, "also somebody else's: "+others)
	case others != "":
		parts = append(parts, "somebody else's: "+others)
	case l.Record != nil:
	case l.Blank && l.FileSystem == "":
		parts = append(parts, "nothing: it is blank")
	case l.unknown():
		parts = append(parts, l.other())
	default:
		parts = append(parts, "no files: "+l.FileSystem+", empty")
	}
	return strings.Join(parts, "; ")
}

// made says, from its record, whose card it is.
func (l Listing) made(shop string, note *Making) string {
	r := l.Record
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
	switch lacking := l.lacking(); {
	case lacking > 0:
		text += fmt.Sprintf(", incomplete: %d of its %d files are missing or differ in size", lacking, len(r.Files))
	case note != nil && note.Proven:
		text += ", proven"
	}
	return text
}

// other is what can't be read here, in words.
func (l Listing) other() string {
	switch l.Other {
	case "", fatread.Unknown:
		return "something that is not a file system known here"
	case fatread.Scrambled:
		return "bytes without any pattern: encrypted, or wiped"
	}
	return "what can't be read here: " + l.Other
}

func (l Listing) others() string {
	var parts []string
	for _, g := range BySort(l.Foreign) {
		parts = append(parts, fmt.Sprintf("%s: %d", g.Sort, g.Count))
	}
	if l.Unread {
		parts = append(parts, "what couldn't be read")
	}
	if l.Other != "" && (l.Record != nil || len(l.Foreign) > 0) {
		parts = append(parts, l.other())
	}
	return strings.Join(parts, ", ")
}
