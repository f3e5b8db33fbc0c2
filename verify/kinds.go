package verify

// The kinds of findings, a closed list. Programs that read a report may rely
// on these words; what each means to a person stands in Meaning and Advice.
const (
	NoFileSystem    Kind = "no-file-system"        // blank, or nothing that is known
	OtherFileSystem Kind = "other-file-system"     // one that isn't read here, or that the devices don't read
	TooSmall        Kind = "too-small"             // fewer bytes than the devices accept
	TooLarge        Kind = "too-large"             // more bytes than the devices accept
	NothingNeeded   Kind = "nothing-needed"        // the vessel needs no card
	OtherVessel     Kind = "other-vessel"          // made for another vessel
	OtherPlan       Kind = "other-plan"            // made for another plan of this vessel
	OtherCard       Kind = "other-card"            // another card of the set
	Unreadable      Kind = "unreadable"            // a read error: what is there is not known
	Structure       Kind = "structure"             // the file system is damaged
	ContentDiffers  Kind = "content-differs"       // a file of the right size with other bytes
	SizeDiffers     Kind = "size-differs"          // a file longer or shorter than expected
	MissingFile     Kind = "missing-file"          // expected, and not there
	ExtraFile       Kind = "extra-file"            // there, and not expected
	ExtraFolder     Kind = "extra-folder"          // an empty folder that isn't expected
	RecordAltered   Kind = "record-altered"        // a record that isn't the one that was written
	SumsAltered     Kind = "sums-altered"          // likewise the check file
	OrderAltered    Kind = "install-order-altered" // likewise the install order
	DigestDiffers   Kind = "digest-differs"        // the card's digest isn't that of the written card
	NothingExpected Kind = "nothing-expected"      // no vessel named, no record that could be trusted
	NotFromMedium   Kind = "not-from-medium"       // read, but perhaps from a cache
	NoRecord        Kind = "no-record"             // no record of ours on the card
	NameCase        Kind = "name-case"             // the right name in other letter case
	SignerUnknown   Kind = "signer-unknown"        // the record's signature is by nobody known, or doesn't fit it
	OtherWording    Kind = "other-wording"         // a signed install order in other words than ours
	FolderOnly      Kind = "folder-only"           // a folder was judged, not the file system that holds it
	Signed          Kind = "signed"                // who made the card
	Unsigned        Kind = "unsigned"              // nobody signed the record
)

// Kinds is every kind, those that explain others first: a report shows its
// findings in this order among those of one severity.
var Kinds = []Kind{
	NoFileSystem, OtherFileSystem, TooSmall, TooLarge, NothingNeeded, OtherVessel, OtherPlan, OtherCard,
	Unreadable, Structure, ContentDiffers, SizeDiffers, MissingFile, ExtraFile, ExtraFolder,
	RecordAltered, SumsAltered, OrderAltered, DigestDiffers, NothingExpected, NotFromMedium,
	SignerUnknown, NoRecord, NameCase, OtherWording, FolderOnly, Signed, Unsigned,
}

// unchecking are the kinds that leave something unknown: with one of them a
// card can't be good, and is bad only for another reason.
var unchecking = map[Kind]bool{Unreadable: true, NothingExpected: true, NotFromMedium: true}

// verdict concludes from findings.
func verdict(findings []Finding) Verdict {
	v := Good
	for _, f := range findings {
		switch {
		case unchecking[f.Kind]:
			if v == Good {
				v = Unchecked
			}
		case f.Severity == Stop:
			v = Bad
		}
	}
	return v
}
