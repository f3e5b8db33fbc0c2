package intake

import (
	"bytes"
	"encoding/binary"
	"html"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"cardwright/manifest/pattern"
)

// textOf is the text of a file in whichever encoding it was saved: UTF-8; UTF-16 of
// either byte order, with or without a mark; or else Windows-1252. Its lines end in
// \n. It is false for what is no text.
func textOf(data []byte) (string, bool) {
	text := ""
	switch order := utf16Order(data); {
	case order != nil:
		text = fromUTF16(data, order)
	case utf8.Valid(data):
		text = strings.TrimPrefix(string(data), "\ufeff")
	default:
		decoded, err := charmap.Windows1252.NewDecoder().Bytes(data)
		if err != nil {
			return "", false
		}
		text = string(decoded)
	}
	if !isText(text) {
		return "", false
	}
	return lineEnds.Replace(text), true
}

// lineEnds replaces the line ends of every system, invisible characters, and spaces
// of other widths.
var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n",
	"\u200b", "", "\u200e", "", "\u200f", "", "\u00ad", "", "\u2060", "", "\ufeff", "", "\u00a0", " ", "\u202f", " ", "\u3000", " ")

// utf16Order is the byte order of UTF-16: by its mark, or by the zeros in every
// other byte that letters and digits have. It is nil for other encodings.
func utf16Order(data []byte) binary.ByteOrder {
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		return binary.LittleEndian
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return binary.BigEndian
	}
	head := data[:min(len(data), headBytes)]
	var zeros [2]int
	for i, b := range head {
		if b == 0 {
			zeros[i%2]++
		}
	}
	half := len(head) / 2
	switch {
	case half < 2:
	case zeros[1] > half*3/4 && zeros[0] < half/8+1:
		return binary.LittleEndian
	case zeros[0] > half*3/4 && zeros[1] < half/8+1:
		return binary.BigEndian
	}
	return nil
}

func fromUTF16(data []byte, order binary.ByteOrder) string {
	units := make([]uint16, 0, len(data)/2)
	for i := 0; i+1 < len(data); i += 2 {
		units = append(units, order.Uint16(data[i:]))
	}
	return strings.TrimPrefix(string(utf16.Decode(units)), "\ufeff")
}

// isText reports that no character is one that texts never have.
func isText(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool {
		return r < ' ' && r != '\t' && r != '\n' && r != '\r' && r != '\f' && r != '\v' && r != '\x1b' && r != '\x1a'
	})
}

// How a web page begins, and what is between its words.
var (
	pageStart = pattern.Of(`(?is)^(?:\s|<\?xml.*?\?>|<!--.*?-->)*<(?:!doctype\s+html|html|head|body|title|meta|script|style|center|h1|h2|p|div|table|pre|br|a|b|font|iframe|noscript|link|span|form|main|section)[\s>/]`)
	tags      = pattern.Of(`(?is)<script.*?</script>|<style.*?</style>|<!--.*?-->|</?(?:p|br|tr|li|div|pre|h[1-6]|table|title|dt|dd)[^<>]*>`)
	otherTags = pattern.Of(`<[^<>]*>`)
)

// isPage reports whether a text is a web page.
func isPage(text string) bool { return pageStart.MatchString(text[:min(len(text), headBytes)]) }

// visibleText is what a web page shows, much as a person would copy it.
func visibleText(page string) string {
	return html.UnescapeString(otherTags.ReplaceAllString(tags.ReplaceAllString(page, "\n"), " "))
}
