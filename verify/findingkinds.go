package verify

// The kinds of findings, a closed list. Programs that read a report may rely
// on these words; Meaning and Advice say what each means to a person.
const (
	NoFileSystem     Kind = "no-file-system"        // blank, or nothing that is known
	OtherFileSystem  Kind = "other-file-system"     // one that isn't read here, or that the devices don't read
	TooSmall         Kind = "too-small"             // fewer bytes than the devices accept
	TooLarge         Kind = "too-large"             // more bytes than the devices accept
	NothingNeeded    Kind = "nothing-needed"        // the vessel needs no card
	OtherVessel      Kind = "other-vessel"          // made for another vessel
	OtherPlan        Kind = "other-plan"            // made for another plan of this vessel
	WayBackCard      Kind = "way-back-card"         // it takes devices back to older releases, and was not asked for; or one was
	OtherCard        Kind = "other-card"            // another card of the set
	Unreadable       Kind = "unreadable"            // a read error: what is there is not known
	Structure        Kind = "structure"             // the file system is damaged
	ContentDiffers   Kind = "content-differs"       // a file of the right size with other bytes
	SizeDiffers      Kind = "size-differs"          // a file longer or shorter than expected
	MissingFile      Kind = "missing-file"          // expected, and not there
	Truncated        Kind = "truncated"             // the beginning of a known package, and no more
	RenamedFile      Kind = "renamed-file"          // a right file under a name that its device doesn't look for
	WrongFolder      Kind = "wrong-folder"          // a right file where its device doesn't look
	StillZipped      Kind = "still-zipped"          // a known package inside an archive
	PartialDownload  Kind = "partial-download"      // a browser's name for a download that hasn't ended
	WithdrawnRelease Kind = "withdrawn-release"     // a release that its maker withdrew
	OlderRelease     Kind = "older-release"         // older than the one that is planned or installed
	NewerRelease     Kind = "newer-release"         // newer than the one that is planned
	OtherVariant     Kind = "other-variant"         // for another region or language
	NotAboard        Kind = "not-aboard"            // for a model that the vessel doesn't have
	NotNeeded        Kind = "not-needed"            // a known release that this visit doesn't need
	TwoPackages      Kind = "two-packages"          // a device that installs at power-up would find several
	Autorun          Kind = "autorun"               // a file that computers start by themselves
	Executable       Kind = "executable"            // a program or script for computers
	HostileName      Kind = "hostile-name"          // a name made to mislead whoever reads it
	HiddenFile       Kind = "hidden-file"           // one that lists leave out
	OtherShortName   Kind = "other-short-name"      // a right file whose short name says something else
	SameName         Kind = "same-name"             // two names that a device may take for one
	BehindEnd        Kind = "behind-end"            // what a device could take that doesn't stop where a folder ends
	ExtraFile        Kind = "extra-file"            // there, and not expected
	ExtraFolder      Kind = "extra-folder"          // an empty folder that isn't expected
	RecordAltered    Kind = "record-altered"        // a record that isn't the one that was written
	SumsAltered      Kind = "sums-altered"          // likewise the check file
	OrderAltered     Kind = "install-order-altered" // likewise the install order
	DigestDiffers    Kind = "digest-differs"        // the card's digest isn't that of the written card
	NothingExpected  Kind = "nothing-expected"      // no vessel named, no record that could be trusted
	UncommonLayout   Kind = "uncommon-layout"       // one that the specifications advise against: not every device reads it
	NotFromMedium    Kind = "not-from-medium"       // read, but perhaps from a cache
	NoRecord         Kind = "no-record"             // no record of ours on the card
	Clutter          Kind = "clutter"               // what desktop systems leave on every card they see
	MovedFolder      Kind = "moved-folder"          // a step's files, whole, in a folder of another name
	MinorDamage      Kind = "minor-damage"          // book-keeping of the file system that no file depends on
	Superseded       Kind = "superseded"            // a signed card for a plan that the shop has left behind
	OutdatedOrder    Kind = "outdated-order"        // the install order on the card names a folder that isn't there
	NameCase         Kind = "name-case"             // the right name in other letter case
	SignerUnknown    Kind = "signer-unknown"        // the record's signature is by nobody known, or doesn't fit it
	OtherWording     Kind = "other-wording"         // an install order in other words than ours
	EarlierName      Kind = "earlier-name"          // the vessel was renamed since the card was made
	NewerRecord      Kind = "newer-record"          // a record in a form that a newer cardwright writes
	FolderOnly       Kind = "folder-only"           // a folder was judged, not the file system that holds it
	ImageOnly        Kind = "image-only"            // an image was judged, not the card that it is copied to
	Signed           Kind = "signed"                // who made the card
	Unsigned         Kind = "unsigned"              // nobody signed the record
	KnownRelease     Kind = "known-release"         // a package of the catalogue, where no vessel was named
	WouldTake        Kind = "would-take"            // what a device would install by itself when powered up with the card in
	FitsVessel       Kind = "fits-vessel"           // for which vessel of the shop the card would do
)

// Kinds is every kind, those that explain others first: a report shows its
// findings in this order among those of one severity.
var Kinds = []Kind{
	NoFileSystem, OtherFileSystem, TooSmall, TooLarge, NothingNeeded, OtherVessel, WayBackCard, OtherPlan, OtherCard,
	Unreadable, Structure, TwoPackages, WithdrawnRelease, ContentDiffers, Truncated, SizeDiffers,
	StillZipped, PartialDownload, RenamedFile, WrongFolder, MissingFile,
	Autorun, Executable, HostileName, OlderRelease, NewerRelease, OtherVariant, NotAboard, NotNeeded,
	HiddenFile, OtherShortName, SameName, BehindEnd, ExtraFile, ExtraFolder, RecordAltered, SumsAltered, OrderAltered, DigestDiffers,
	NothingExpected, UncommonLayout, NotFromMedium, NewerRecord, SignerUnknown, NoRecord, Superseded, MinorDamage, MovedFolder, OutdatedOrder, NameCase, Clutter,
	OtherWording, EarlierName, KnownRelease, WouldTake, FitsVessel, FolderOnly, Signed, Unsigned, ImageOnly,
}

// unchecking are the kinds that leave something unknown: with one of them a
// card can't be good, and is bad only for another reason.
var unchecking = map[Kind]bool{Unreadable: true, NothingExpected: true, UncommonLayout: true, NotFromMedium: true, NewerRecord: true}

// weight is what findings come to.
type weight struct{ stops, bad, unchecked bool }

func (w *weight) add(f Finding) {
	w.stops = w.stops || f.Severity == Stop
	switch {
	case unchecking[f.Kind]:
		w.unchecked = true
	case f.Severity == Stop:
		w.bad = true
	}
}

func (w weight) verdict() Verdict {
	switch {
	case w.bad:
		return Bad
	case w.unchecked:
		return Unchecked
	}
	return Good
}
