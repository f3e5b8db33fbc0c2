package verify

import (
	"io"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// Expected is what a card should hold.
type Expected struct {
	// Record is the card's record. Its running digests may be missing where
	// the packages weren't read; its install order's digest may be "" where
	// that isn't known.
	Record media.Record
	// Nothing: the vessel needs no card at all.
	Nothing bool
	// Beside: other files may be there, and are told of.
	Beside bool
	// Alone: the card should hold its payload only, no folder of the record.
	Alone bool
	// RecordOptional: a card without the record's folder is told of, and can
	// be good all the same, as when a customer made it.
	RecordOptional bool
	// FromRecord: nothing is known but what a record on the card says that one
	// of Trusts has signed. Without such a record nothing is expected.
	FromRecord bool
	// Trusts are the shops whose signatures are believed.
	Trusts []*manifest.Trust
	// Signed: the record has to be signed by one of Trusts.
	Signed bool
	// Target is what the card is called on the command line, for the commands
	// that a report names; "": TARGET.
	Target string
	// Flags that the commands which a report names need beside the vessel, for
	// the same plan: what was asked of it, and the shop folder.
	Flags []string
	// Digest of the card, 64 hex digits; "" where it isn't known.
	Digest string
	// Limits on measured bytes; the zero value sets none.
	Limits media.Limits
	// FileSystems that every device which takes the card reads; none: fat32.
	FileSystems []string
	// Aboard is what a file can be recognised by; nil: by nothing.
	Aboard *Aboard
	// Package opens the package file of a payload path, to name the first byte
	// that differs. nil, or an error: only the MiB is named.
	Package func(path string) (io.ReadCloser, error)
}

// Aboard is what is known of a shop's packages and of one vessel.
type Aboard struct {
	Shop   *manifest.Shop
	Vessel *manifest.Vessel // nil: no vessel was named
	Plan   order.Plan       // the vessel's, with cards and folders
	Card   int              // which card of the plan this one should be
}

// ForCard is what card c of a layout should hold.
func ForCard(l media.Layout, c media.Card, installOrder []byte, packages media.Packages) Expected {
	e := Expected{Record: l.Record(c), Alone: c.Alone, RecordOptional: true, Limits: c.Limits, FileSystems: c.FileSystems}
	e.Record.InstallOrder = media.NewRecordFile(media.InstallOrderPath, installOrder)
	sources := map[string]media.Source{}
	for _, f := range c.Files {
		sources[f.Path] = f.Source
	}
	e.Package = func(path string) (io.ReadCloser, error) { return packages.Open(sources[path]) }
	return e
}

// key is a path as everything that ignores letter case compares it.
func key(path string) string { return samename.CaseKey(path) }
