package intake

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
)

// headBytes is how much of a file's beginning is looked at.
const headBytes = 64 << 10

// shape is what the bytes of a file have in common, as it is read.
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

// heuristics refuse what looks wrong, where nothing vouches for the very bytes.
func (x *examination) heuristics(found Found) error {
	if found.Known != nil || found.Trust != manifest.TrustOurs {
		return nil
	}
	head := strings.ToLower(strings.TrimSpace(string(bytes.TrimPrefix(x.head, []byte("\ufeff")))))
	isPage := strings.HasPrefix(head, "<!doctype html") || strings.HasPrefix(head, "<html")
	if ext := strings.ToLower(filepath.Ext(x.base)); isPage && ext != ".html" && ext != ".htm" {
		return x.refuse("a web page, not a package", fmt.Sprintf("text that begins with %q", head[:min(len(head), 15)]), "a package", "a page to sign in, or an error, was saved in its place: open the address in a browser, and download it again")
	}
	if first := firstName(x.base); first != "" && x.request.Name == "" && found.Member == "" {
		return x.refuse("a renamed second copy", x.base, "the name that the maker gave it", "look at the first copy; or take this one under its right name with --name "+media.ShellWord(first))
	}
	return nil
}
