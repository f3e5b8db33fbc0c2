package intake

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/problem"
	"cardwright/media"
)

// headBytes is how much of a file's beginning is looked at.
const headBytes = 64 << 10

// shape is what is learnt from all bytes of a file while it is read.
type shape struct {
	read  int64
	first byte
	other bool  // some byte differs from the first
	zeros int64 // at its end
}

func (s *shape) Write(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if s.read == 0 {
		s.first = p[0]
	}
	s.read += int64(len(p))
	if !s.other {
		s.other = bytes.Count(p, []byte{s.first}) < len(p)
	}
	end := len(p)
	for end > 0 && p[end-1] == 0 {
		end--
	}
	if end > 0 {
		s.zeros = 0
	}
	s.zeros += int64(len(p) - end)
	return len(p), nil
}

// A tail of zeros is doubtful where it is this long, or this large a part of the
// file: room may have been set aside for a download that never filled it. Makers pad
// with zeros too, so a person decides.
const (
	longTail  = 4096
	shortTail = 64
	tailPart  = 4 // of the file
)

// zeroTail reports whether a file ends in so many zeros that some of it may never
// have arrived.
func (s *shape) zeroTail() bool {
	return s.zeros >= longTail || s.zeros >= shortTail && s.zeros*tailPart >= s.read
}

// refuseDoubtful refuses what looks wrong, where nobody vouches for its bytes.
func (x *examination) refuseDoubtful(found *Found) error {
	if found.Known != nil || found.Trust != manifest.TrustOurs {
		return nil
	}
	if doubt := x.doubt(found); doubt != nil {
		if !x.request.Despite {
			return doubt
		}
		found.Notes = append(found.Notes, "taken at your word, though it looks like "+doubt.What+": "+doubt.Found)
	}
	if first := firstName(x.base); first != "" && x.request.Name == "" && found.Member == "" {
		return x.refuse("a renamed second copy", x.base, "the name that the maker gave it", "take in the first copy; or this one, with "+x.act(NameItSo, media.ShellWord(first)))
	}
	return nil
}

// doubtful is a refusal that a person may overrule.
func (x *examination) doubtful(what, found, expected, advice string) *Refused {
	return &Refused{
		Path: x.request.Path, What: what, Doubt: true,
		Problem: problem.Problem{
			Found: found, Expected: expected,
			Advice: advice + "; if it is right as it is, say so at a terminal, or give the maker's digest with " + x.act(SayGot),
		},
	}
}

// doubt is why a download looks like no package; nil where it doesn't.
func (x *examination) doubt(found *Found) *Refused {
	again := "the download was cut short or never completed: download it again"
	if !x.shape.other && x.content.size > 1 {
		return x.doubtful(fmt.Sprintf("a file of nothing but the byte %02X", x.shape.first), media.Bytes(x.content.size)+" that are all the same", "a package", again)
	}
	if page, what := x.content.page(x.base); page != "" {
		return x.doubtful(page+", not a package", what, "a package", "a sign-in page or an error was saved in its place: open the address in a browser, and download it again")
	}
	end := x.content.end()
	if end.missing != "" {
		return x.doubtful(end.kind+" without its end", end.missing, "a whole one", again)
	}
	if !end.whole && x.shape.zeroTail() {
		return x.doubtful("a file that ends in zeros", fmt.Sprintf("zeros from byte %d to the end at %d", x.content.size-x.shape.zeros, x.content.size), "a complete package", again)
	}
	if locked := x.zip.encrypted(); locked != "" && found.Member == "" {
		return x.doubtful("an encrypted archive", locked, "a package that the device can open", "unpack it with its password first")
	}
	return nil
}

// encrypted is the first encrypted member of an archive, or "".
func (a *archive) encrypted() string {
	if a == nil {
		return ""
	}
	for _, m := range a.File {
		if m.Flags&1 != 0 {
			return fmt.Sprintf("member %q, which is encrypted", m.Name)
		}
	}
	return ""
}

var (
	xmlStart  = pattern.Of(`(?s)^(?:\s|<\?.*?\?>|<!--.*?-->|<![A-Za-z][^>]*>)*<([A-Za-z_][\w:.-]*)[\s/>]`)
	jsonStart = pattern.Of(`^(?:\)\]\}',?\s*|[A-Za-z_$][\w$.]*\(\s*)?[\[{]`)
	httpStart = pattern.Of(`^(?:HTTP/\d|MIME-Version:|From: <Saved by)`)
	errorText = pattern.Of(`(?i)\b(?:[45]\d\d\b.{0,3}(?:bad|unauthori[sz]ed|payment|forbidden|not found|gone|too many|internal|not impl|service|gateway|request|error)|not found|forbidden|access denied|permission denied|unauthori[sz]ed|bad gateway|bad request|service unavailable|gateway time-?out|too many requests|internal server error|rate limit|link (?:has )?expired|session (?:has )?expired|temporarily unavailable|no such (?:file|key|object)|error code|error \d{3}|does(?:n't| not) exist)\b`)
	linkStart = pattern.Of(`^(?:\[InternetShortcut\]|\[Desktop Entry\]|d\d+:announce)`)
)

// shortError is the longest text, in bytes, that is taken for an error message:
// longer ones may mention errors for other reasons.
const shortError = 1024

// page is what a server sent instead of a package, and how that begins; "" for
// anything else. name says what kind of text the file should be.
func (c content) page(name string) (kind, begins string) {
	head := c.head
	for cut := 0; cut < 3 && len(head) == headBytes && head[len(head)-1] >= 0x80; cut++ {
		head = head[:len(head)-1] // within a letter, perhaps
	}
	text, ok := textOf(head)
	if text = strings.TrimSpace(text); !ok || text == "" {
		return "", ""
	}
	ext := strings.ToLower(filepath.Ext(name))
	switch {
	case isPage(text):
		kind = unless(ext, "a web page", ".html", ".htm", ".xhtml")
	case httpStart.Regexp().MatchString(text):
		kind = "a saved web page"
	case xmlStart.Regexp().MatchString(text):
		kind = unless(ext, "an XML reply", ".xml", ".svg", ".gpx", ".kml")
	case jsonStart.Regexp().MatchString(text) && isJSON(text):
		kind = unless(ext, "a JSON reply", ".json", ".geojson")
	case linkStart.Regexp().MatchString(text):
		kind = "a link to a download"
	case c.size <= shortError && errorText.Regexp().MatchString(text):
		kind = "an error message"
	}
	return kind, fmt.Sprintf("text that begins with %q", shortened(text))
}

func unless(ext, kind string, exts ...string) string {
	for _, e := range exts {
		if e == ext {
			return ""
		}
	}
	return kind
}

// shortened is the beginning of a text, for a message.
func shortened(text string) string {
	const most = 40
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return text
}

// isJSON reports whether a text, whose end may be missing, is JSON.
func isJSON(text string) bool {
	text = text[strings.IndexAny(text, "[{"):]
	in := json.NewDecoder(strings.NewReader(text))
	var value json.RawMessage
	if in.Decode(&value) == nil {
		return strings.Trim(text[in.InputOffset():], " \t\r\n);") == ""
	}
	in = json.NewDecoder(strings.NewReader(text))
	for range enoughTokens {
		if _, err := in.Token(); err != nil {
			return false
		}
	}
	return true
}

// enoughTokens of JSON are no accident.
const enoughTokens = 6
