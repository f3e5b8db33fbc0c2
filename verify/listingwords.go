package verify

import (
	"fmt"
	"io"
	"strings"
	"time"

	"cardwright/media"
	"cardwright/verify/fatread"
)

// headBytes is where the first sectors of every file system in use stand that a
// card can begin with; a card that was blanked has zeros there.
const headBytes = 16 << 10

// blankHead tells whether a card begins with nothing.
func blankHead(read io.ReaderAt, bytes int64) bool {
	head := make([]byte, min(bytes, headBytes))
	n, _ := read.ReadAt(head, 0)
	return n == len(head) && strings.Trim(string(head), "\x00") == ""
}

// whatElse looks for what a card holds beside file systems that are read.
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

// Is tells whether a card is, by its record, the one of which r is the record or
// an earlier making of the same: same shop, vessel and number, and nothing of
// anybody else's beside it.
func (l Listing) Is(r media.Record) bool {
	have := l.Record
	return have != nil && have.Shop == r.Shop && have.Vessel == r.Vessel && have.Card == r.Card && !l.HasOthers()
}

// HasOthers tells whether something is lost with a card that no record lists:
// files, what couldn't be read, or something that is no file system known here.
func (l Listing) HasOthers() bool {
	return len(l.Foreign) > 0 || l.Unread || l.unknown()
}

// unknown tells of a card with something on it that is no file system known here.
func (l Listing) unknown() bool { return l.FileSystem == "" && !l.Blank }

// Making is what a shop's ledger has of the making of a card.
type Making struct {
	At     time.Time
	Proven bool
}

// Holds says in a few words what a card holds, as seen from the shop of that
// name; note is nil where no ledger tells of the card.
func (l Listing) Holds(shop string, note *Making) string {
	var parts []string
	if l.Record != nil {
		parts = append(parts, l.made(shop, note))
	}
	switch others := l.others(); {
	case others != "" && l.Record != nil:
		parts = append(parts, "beside it, somebody else's: "+others)
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

// made tells by its record whose card it is.
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
		text += fmt.Sprintf(", not whole: %d of its %d files are missing or of another size", lacking, len(r.Files))
	case note != nil && note.Proven:
		text += ", proven"
	}
	return text
}

// lacking counts the record's files that aren't there, by name and size.
func (l Listing) lacking() (n int) {
	for _, f := range l.Record.Files {
		if size, ok := l.sizes[key(f.Path)]; !ok || size != f.Size {
			n++
		}
	}
	return n
}

// other is what can't be read here, in words.
func (l Listing) other() string {
	switch l.Other {
	case "", fatread.Unknown:
		return "something that is no file system known here"
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
