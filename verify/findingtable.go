package verify

import (
	"fmt"
	"strings"

	"cardwright/manifest/problem"
)

// diagnosis is a row of the table of findings: of which kind one is, how much it
// weighs, what it means and what to do. A kind has a row for each thing that it
// can mean. %s in a row is filled in where it is found; {repair} and the like
// stand for the caller's commands (Commands).
type diagnosis struct {
	kind     Kind
	severity Severity
	meaning  string
	advice   string
}

// at is a finding at a path on the card, or, with "", of the card itself.
func (d diagnosis) at(path, expected, found string) Finding {
	return Finding{
		Kind: d.kind, Severity: d.severity, Path: path, Problem: problem.Problem{
			Expected: expected, Found: found,
			Meaning: d.meaning, Advice: d.advice,
		},
	}
}

// meaningOf fills in what it means.
func (d diagnosis) meaningOf(details ...any) diagnosis {
	d.meaning = fmt.Sprintf(d.meaning, details...)
	return d
}

// adviceFor fills in what to do.
func (d diagnosis) adviceFor(details ...any) diagnosis {
	d.advice = fmt.Sprintf(d.advice, details...)
	return d
}

// saying is the same with another meaning.
func (d diagnosis) saying(meaning string) diagnosis {
	d.meaning = meaning
	return d
}

// weighing is the same with another severity.
func (d diagnosis) weighing(s Severity) diagnosis {
	d.severity = s
	return d
}

const (
	again         = "Prepare the card again."
	againOrOther  = "Prepare the card again, or use another."
	againThenNew  = "Prepare the card again. If it happens again, use another card."
	cardOfYourOwn = "Prepare a card of your own: {repair}"
	onlyPrepared  = "Use a card that holds only what was prepared."
	retry         = "Clean the contacts and try another reader. If it happens again, use another card."
	retryThenLook = "Clean the contacts, try another reader and verify again."
	rescue        = "If somebody may need files from it, do not format it or write to it: keep it for data recovery. For the boat, use another card: {prepare}"
	itsDrive      = "verify its drive, which {readers} lists: {drive}"
)

// The card and its file system.
var (
	tooSmall = diagnosis{TooSmall, Stop, "The devices aboard do not accept a card this small.", "Use a larger card."}
	tooLarge = diagnosis{TooLarge, Stop, "The devices aboard do not accept a card this large.", "Use a smaller card."}

	noFileSystem       = diagnosis{NoFileSystem, Stop, "No device can read it.", againOrOther}
	encrypted          = diagnosis{NoFileSystem, Stop, "The card is encrypted, or was wiped with noise. No device can read it.", againOrOther}
	blank              = diagnosis{NoFileSystem, Stop, "The card is blank, was never formatted, or its writing was interrupted. No device can read it.", againOrOther}
	bootSectorsUseless = diagnosis{NoFileSystem, Stop, "The start of the file system is destroyed. No device can read it.", rescue}
	bootSectorGone     = diagnosis{NoFileSystem, Stop, "The start of the file system is overwritten, or its writing was interrupted. The files may still be there, but no device finds them.", rescue}
	tableGone          = diagnosis{NoFileSystem, Stop, "The partition table is gone, or its writing was interrupted. The files may still be there, but no device finds them.", rescue}

	otherFileSystem   = diagnosis{OtherFileSystem, Stop, "The devices aboard do not read this file system, whatever is on it.", "Use another card: {prepare}"}
	notKnownToBeRead  = diagnosis{OtherFileSystem, Stop, "Devices read FAT32 unless their maker says otherwise. No vessel was named, so it is not known what its devices read.", "Name the vessel, and have its files written to another card: {repair}"}
	notReadNorNeeded  = diagnosis{OtherFileSystem, Stop, otherFileSystem.meaning, putAway}
	rightFilesOnOther = diagnosis{OtherFileSystem, Stop, "Right files, wrong file system: the devices aboard do not read it.", "Copy them to a card that your devices can read: {repair}"}
	someRightOnOther  = diagnosis{OtherFileSystem, Stop, otherFileSystem.meaning + " Some of the files are right.", "Have them and the rest written to a card that the devices can read: {repair}"}

	severalSystems = diagnosis{Structure, Stop, "Some devices read one of them, some another.", againOrOther}
	damaged        = diagnosis{Structure, Stop, "The file system is damaged (%s). Devices may read it differently.", againThenNew}
	damagedBeyond  = diagnosis{Structure, Stop, "The file system is damaged beyond what can be listed.", "Use another card."}
	chainTooShort  = diagnosis{Structure, Stop, "The file system is damaged: this file can't be read completely.", againThenNew}
	bookKeeping    = diagnosis{MinorDamage, Warn, "The file system's book-keeping is wrong (%s). No file depends on it.", "If all files match, nothing. Otherwise prepare the card again."}
	badClusters    = diagnosis{MinorDamage, Warn, "A computer marked parts of this card as bad. No file is there, but the card may be wearing out.", "If all files match, nothing for now. Use another card next time."}
	uncommonLayout = diagnosis{UncommonLayout, Warn, "Computers read such a card, but not every device does. It is not known whether those aboard do.", "Prepare a card of your own, laid out as devices expect it: {repair}"}
	behindADriver  = diagnosis{UncommonLayout, Warn, "It is probably exFAT or NTFS, which devices do not read. The system does not say which.", "Verify the drive, not the folder: {drive}"}
	unreadable     = diagnosis{Unreadable, Stop, "It is not known what is there.", retry}

	digestDiffers = diagnosis{DigestDiffers, Stop, "The card is not, byte for byte, the one that was written.", again}

	folderOnly    = diagnosis{FolderOnly, Note, "The files were verified, but not the file system that holds them.", "To verify the whole card, " + itsDrive}
	imageOnly     = diagnosis{ImageOnly, Note, "The image file was verified. A copy of it on a card can still be wrong.", "Once it is copied, verify the card itself, whose drive {readers} lists: {drive}"}
	notFromMedium = diagnosis{NotFromMedium, Warn, "What was read may not be what is on the card.", "Take the card out, put it in again, and " + itsDrive}
	noPlainFile   = diagnosis{ExtraFile, Stop, "A card cannot hold such a thing.", "Remove it."}
)

// What is expected.
var (
	nothingNeeded   = diagnosis{NothingNeeded, Stop, "%s needs nothing from a card: every device runs the newest release that fits.", putAway}
	nothingExpected = diagnosis{NothingExpected, Warn, "Nothing says what this card should hold. What is on it can be listed, but nobody can say whether it is right.", "Name the vessel: {verify}"}
	otherVessel     = diagnosis{OtherVessel, Stop, "The card was made for another vessel.", "Keep it for that vessel. Use the card that was made for this one, or prepare one: {prepare}"}
	othersNotNeeded = diagnosis{OtherVessel, Stop, otherVessel.meaning, "Keep it for that vessel."}
	otherPlan       = diagnosis{OtherPlan, Stop, "The card was made for another plan of this vessel: its devices or the catalogue have changed since.", useTheRight}
	wayBackCard     = diagnosis{WayBackCard, Stop, "It takes devices back to older releases: it is not the card for the update.", "Keep it apart, and out of devices that install at power-up. To verify it against the way back that it was made for: {wayback}"}
	wayBackAlone    = diagnosis{NothingExpected, Warn, "A WAY BACK card takes devices back to older releases. It is good only against the way back that it was made for.", "Verify it against that way back: {wayback}"}
	updateCard      = diagnosis{WayBackCard, Stop, "It is a card of updates: it takes no device back.", "Use the card that is marked WAY BACK, or prepare one: {prepare}"}
	otherCard       = diagnosis{OtherCard, Stop, "It is another card of the set.", useTheRight}
	superseded      = diagnosis{Superseded, Warn, "The card was made for an earlier plan: the vessel's devices or the catalogue have changed since.", "Verify it for %s, or prepare a new card."}
	fitsAnother     = diagnosis{FitsVessel, Note, "By its files it is another vessel's card.", "Keep it for that vessel. Use the card that was made for this one, or prepare one: {prepare}"}
	fitsNotNeeded   = diagnosis{FitsVessel, Note, fitsAnother.meaning, othersNotNeeded.advice}
	fitsVessel      = diagnosis{FitsVessel, Note, "By its files. To be sure, verify the card for %s.", ""}
)

const (
	putAway     = "Put this card away."
	useTheRight = "Use the card that was made for this vessel and plan, or prepare this one again."
)

// Wanted files.
var (
	contentDiffers = diagnosis{ContentDiffers, Stop, "The file was altered or damaged. A device that installed it could be left without working software.", "Do not use the card. Prepare it again. If it happens again, use another card."}
	replaced       = diagnosis{ContentDiffers, Stop, "The card has the file as it was until it was replaced on %s: %s", again}
	takenOut       = diagnosis{ContentDiffers, Stop, "The card has a file that was taken out of its release on %s: %s", again}
	replacedSince  = diagnosis{Superseded, Warn, "This file was replaced on %s, after the card was made: %s", "Prepare a new card."}
	sizeDiffers    = diagnosis{SizeDiffers, Stop, "The file is incomplete, or is a different one.", again}
	truncated      = diagnosis{Truncated, Stop, "It is only the beginning of %s: the download or the copy was interrupted.", "Do not install it. Download it again, or prepare the card again."}
	missingFile    = diagnosis{MissingFile, Stop, "A device that needs this file cannot be updated from this card.", again}
	unseenFile     = diagnosis{MissingFile, Warn, "Part of the card's list of files could not be read. The file may be there.", retryThenLook}
	nameCase       = diagnosis{NameCase, Warn, "The name differs in letter case only. FAT32 takes both for one.", "Nothing, unless the device does not show the file."}
	movedFolder    = diagnosis{MovedFolder, Warn, "The files for step %d (%s) are intact, but in a folder with another name.", "Choose this folder on the device's screen. The install order written now names it."}
	hiddenWanted   = diagnosis{HiddenFile, Stop, "The device may leave it out of its list, or pass it over.", cardOfYourOwn}
	otherShortName = diagnosis{OtherShortName, Stop, "The card also has a short name for it, which simple devices use. That name is wrong: they would not find the file.", cardOfYourOwn}

	sameNames       = diagnosis{SameName, Warn, "Two names in one folder are the same to some devices: they may take either (name-twice).", "If neither is needed, nothing. Otherwise prepare a card of your own."}
	sameNamesWanted = diagnosis{SameName, Stop, sameNames.meaning, cardOfYourOwn}
	nameTwice       = diagnosis{MinorDamage, Warn, sameNames.meaning, sameNames.advice}
	nameTwiceWanted = diagnosis{Structure, Stop, sameNames.meaning, cardOfYourOwn}
	behindEnd       = diagnosis{BehindEnd, Stop, "Some devices read on past the end of a folder, and may take this.", cardOfYourOwn}

	severalInFolder  = diagnosis{TwoPackages, Stop, "The device may take either of them from this folder. One has to be installed before the other, or not at all.", "Put each into a folder of its own, or prepare a card of your own: {repair}"}
	severalAtPowerUp = diagnosis{TwoPackages, Stop, "%s (%s) installs by itself at power-up. It is not known which of these it takes.", "Do not put this card into it. Prepare cards of your own: each holds one of them."}
	wouldTake        = diagnosis{WouldTake, Note, "It installs by itself when it is powered up with this card in.", "Keep the card out of it until its step comes."}
)

// What else is there.
var (
	extraFile    = diagnosis{ExtraFile, Stop, "It is not part of what this vessel needs. A device may show it, or take it for an update.", onlyPrepared}
	extraFolder  = diagnosis{ExtraFolder, Stop, extraFile.meaning, onlyPrepared}
	clutter      = diagnosis{Clutter, Warn, "It is harmless where the package is chosen on the device's screen.", "Nothing, or prepare the card again and keep it out of computers afterwards."}
	clutterTaken = diagnosis{Clutter, Stop, "A device aboard installs by itself at power-up: its package must be the only file there.", "Prepare the card again and keep it out of computers afterwards."}
	program      = diagnosis{Executable, Stop, "No device needs it. It may be meant for the computer that the card is put into.", "Do not open it. Use a card of your own."}
	autorun      = diagnosis{Autorun, Stop, program.meaning, program.advice}
	hiddenFile   = diagnosis{HiddenFile, Stop, "Most lists of files do not show it.", onlyPrepared}
	hostileName  = diagnosis{HostileName, Stop, "The name has characters that hide, turn text round or move the cursor.", "Do not trust what other programs show of this card. Use a card of your own."}

	knownRelease  = diagnosis{KnownRelease, Note, "It is a package of the catalogue, complete and unaltered.", ""}
	notNeeded     = diagnosis{NotNeeded, Stop, "No device aboard needs it on this visit.", takeOff}
	withdrawn     = diagnosis{WithdrawnRelease, Stop, "Its maker withdrew it: %s", "Do not install it."}
	notAboard     = diagnosis{NotAboard, Stop, "%s has no %s.", takeOff}
	otherVariant  = diagnosis{OtherVariant, Stop, "It is for variant %q, which no device aboard is.", takeOff}
	olderRelease  = diagnosis{OlderRelease, Stop, "It is older than what the device runs or gets.", takeOff}
	newerRelease  = diagnosis{NewerRelease, Stop, "It is newer than what is planned: it does not fit the other devices, or a hold keeps it off.", takeOff}
	onAnotherCard = diagnosis{OtherCard, Stop, "The vessel needs it, but on another card.", "Take it off this card, or prepare cards of your own."}
	wrongFolder   = diagnosis{WrongFolder, Stop, "The file is right, but it is not where its device looks for it.", "Move it to /%s and verify again, or prepare a card of your own."}
	renamedFile   = diagnosis{RenamedFile, Stop, "The file is right, but it does not have the name that its device looks for.", "Rename it to /%s and verify again, or prepare a card of your own."}
	byABrowser    = diagnosis{RenamedFile, Stop, renamedFile.meaning + " A browser gives such names.", renamedFile.advice}
	asDownloaded  = diagnosis{StillZipped, Stop, "It is the right package, as it is downloaded. Devices do not look into archives.", unpack}
	stillZipped   = diagnosis{StillZipped, Stop, "Devices do not look into archives.", unpack}
	alteredKnown  = diagnosis{ContentDiffers, Stop, "It has the name and size of %s, but other bytes: it was altered or damaged.", "Do not install it. Prepare the card again."}
	partial       = diagnosis{PartialDownload, Stop, "Browsers give such names to downloads that have not ended.", "Download it again to the end."}
)

const (
	takeOff = "Take it off the card, or use a card that holds only what was prepared."
	unpack  = "Unpack it, or prepare a card of your own."
)

// The record's folder.
var (
	noRecord        = diagnosis{NoRecord, Stop, "The card was not made by cardwright, or its record was removed. It is judged by its contents.", "Prepare a card of your own if you may have to prove later what was on it."}
	newerRecord     = diagnosis{NewerRecord, Warn, "A newer cardwright made this card. What its record says can't be read here.", "Update cardwright on this computer, and verify the card again."}
	recordDamaged   = diagnosis{RecordAltered, Stop, "The record was altered or damaged.", again}
	recordAltered   = diagnosis{RecordAltered, Stop, alteredSince, again}
	sumsAltered     = diagnosis{SumsAltered, Stop, alteredSince, again}
	orderGone       = diagnosis{OrderAltered, Stop, alteredSince, again}
	orderDiffers    = diagnosis{OrderAltered, Stop, "The install order on the card is not the one for this plan.", again}
	otherWording    = diagnosis{OtherWording, Note, "Another version of cardwright wrote it, or the vessel file said other things that are not part of the plan.", ""}
	earlierName     = diagnosis{EarlierName, Note, "The vessel was renamed since the card was made. It is the same vessel, and the card is right for her.", ""}
	unsignedWording = diagnosis{OtherWording, Warn, otherWording.meaning + " Nobody whom this shop knows has signed it. It names this plan's steps in their order. Trust nothing else in it.", "Work by the order that is written now: {order}"}
	outdatedOrder   = diagnosis{OutdatedOrder, Warn, "The order on this card, and its list of digests, name a folder that isn't there.", "Work by the order that is written now: {order}"}
	hiddenOwn       = diagnosis{HiddenFile, Warn, "Somebody who looks for the install order on the card may not see it. No device depends on it.", "Nothing, if the order is on paper."}

	signed        = diagnosis{Signed, Note, "The record is as that shop made it.", ""}
	signerUnknown = diagnosis{SignerUnknown, Warn, "The record was altered, or somebody whom this shop doesn't know made it.", "Trust the files that were compared. Don't trust what the record says of who made the card."}
	unsigned      = diagnosis{Unsigned, Note, "Anybody could have written the record.", ""}
	noSignature   = diagnosis{SignerUnknown, Stop, "It is not a signature: it was altered, or somebody put it there.", onlyPrepared}
)

const alteredSince = "It was altered or damaged after the card was made."

// withCommands puts the caller's commands into a finding's advice.
func (f Finding) withCommands(c Commands) Finding {
	for name, command := range map[string]string{
		"{verify}": c.Verify, "{order}": c.Order, "{drive}": c.Drive, "{prepare}": c.Prepare, "{repair}": c.Repair, "{wayback}": c.WayBack,
	} {
		words, ok := strings.CutSuffix(f.Advice, ": "+name)
		switch {
		case ok && command == "":
			f.Advice = words + "."
		case ok:
			f.Advice = words + ": " + command
		}
	}
	if c.Readers == "" {
		f.Advice = strings.NewReplacer(", which {readers} lists", "", ", whose drive {readers} lists", " in its drive").Replace(f.Advice)
	}
	f.Advice = strings.ReplaceAll(f.Advice, "{readers}", c.Readers)
	return f
}
