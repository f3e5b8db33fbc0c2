// Package intake takes downloads into a shop's package folder: it finds out
// what a file is, whether it is complete and who vouches for it, puts it in its
// place in one step, and later reads everything in that folder again.
//
// A download is a stranger's: names, lists, signatures and archives are
// bounded, and nothing is written where a name of theirs would lead.
package intake

import (
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// Bounds on what is read.
const (
	MaxListBytes    = 1 << 20        // a list of digests
	maxListLines    = 20_000         // of such a list, and digests in it
	maxListLine     = 16 << 10       // bytes of a line of it
	maxListDepth    = 64             // of one that is JSON or XML
	maxBeside       = 2000           // files next to a download that are searched for lists
	maxBesideBytes  = 16 << 20       // of those files
	maxSignature    = 4 << 10        // bytes of a signature; they have a few hundred
	maxWholeSigned  = 8 << 20        // a file with a signature of the older kind, which is verified in memory
	MaxMembers      = 10_000         // of an archive
	maxUnpacked     = 32_000_000_000 // what is unpacked of one archive: the largest card
	maxPackageFiles = 100_000        // entries of the package folder
)

// Request is a download and what was said of it.
type Request struct {
	Path       string
	Model      string    // "": found by its digest
	Version    version.V // "" likewise
	Variant    string
	Name       string        // on the card; "": as the catalogue or the download has it
	Member     string        // the one file of an archive that is the package; "": found by its digest
	Unpack     bool          // the device wants what is inside the archive
	Opens      bool          // the device opens archives itself, whatever the catalogue says
	Several    bool          // the release has several files, and this is one more
	Replace    bool          // it takes the place of a file that the release has
	Old        string        // the name of that file; "": the only one, or the one of this name
	SHA256     string        // a digest got elsewhere; "": none
	From       string        // where it, or the download, was got
	List       string        // a list of digests; "": looked for next to the download
	SigningKey string        // the maker's public key; "": as the catalogue has it
	ReplaceKey string        // why that key takes the place of the one that the catalogue has; "": it doesn't
	Despite    bool          // a person has seen what looks wrong with it, and takes it
	Words      problem.Words // for Acts, in advice
}

// Refused is why a download isn't taken.
type Refused struct {
	Path string
	What string
	problem.Problem
	Archive []string // not nil: an archive that its device isn't known to open; its members that can be taken
	Unknown bool     // nothing is wrong with it; the user has to say what it is
	Doubt   bool     // it may be right though it looks wrong: a person may take it
}

func (e *Refused) Error() string {
	return fmt.Sprintf("%s: %s; found %s, expected %s; %s", e.Path, e.What, e.Found, e.Expected, e.Advice)
}

// Found is what a download turned out to be: nothing was written yet.
type Found struct {
	Path    string // the download
	Member  string // of it, where it is an archive that holds the package; "" otherwise
	Model   *manifest.Model
	Version version.V
	Variant string
	Known   *manifest.File // in the catalogue; nil: not there yet
	Name    string         // as in the catalogue and on the card
	Size    int64
	SHA256  digest.SHA256
	Unpack  bool
	Members []digest.File // of a file that is unpacked and not in the catalogue yet
	Trust   string        // one of manifest.Trusts
	From    string
	Proofs  []Proof // what was compared
	Shown   string  // the trust that these alone give, whatever the catalogue said before; one of manifest.Trusts
	NewKey  string  // of the maker's, in place of the one that the catalogue has; "": none
	Notes   []string

	Instead *manifest.File // the file of its release that it replaces; nil: none
	Done    bool           // it has been replaced already; only the old file may still be there
	Why     string         // why, where the request says; "": the user has to say

	files int // that its release had
	words problem.Words
}

// Proof is one thing that vouches for a download.
type Proof struct {
	What  string // in a few words
	Trust string // how far that goes
}
