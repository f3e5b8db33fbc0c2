package intake

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"

	"cardwright/manifest"
	"cardwright/media"
)

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
