package verify

import (
	"fmt"
	"strings"

	"cardwright/manifest/problem"
)

// cause is a row of the table of findings: of which kind one is, how much it
// weighs, what it means and what to do. A kind has a row for each thing that it
// can mean. %s in a row is filled in where it is found; {repair} and the like
// stand for the caller's commands (Commands).
type cause struct {
	kind     Kind
	severity Severity
	meaning  string
	advice   string
}

// at is a finding of this cause at a place: the path on the card, or "".
func (c cause) at(path, expected, found string) Finding {
	return Finding{
		Kind: c.kind, Severity: c.severity, Path: path, Problem: problem.Problem{
			Expected: expected, Found: found,
			Meaning: c.meaning, Advice: c.advice,
		},
	}
}

// meaningOf fills in what a cause means.
func (c cause) meaningOf(details ...any) cause {
	c.meaning = fmt.Sprintf(c.meaning, details...)
	return c
}

// adviceFor fills in what to do.
func (c cause) adviceFor(details ...any) cause {
	c.advice = fmt.Sprintf(c.advice, details...)
	return c
}

// saying is a cause that means something else.
func (c cause) saying(meaning string) cause {
	c.meaning = meaning
	return c
}

// weighing is a cause that weighs more or less.
func (c cause) weighing(s Severity) cause {
	c.severity = s
	return c
}

const (
	again         = "Prepare the card again."
	againOrOther  = "Prepare the card again, or use another."
	againThenNew  = "Prepare the card again; if it happens again, use another card."
	cardOfYourOwn = "Prepare a card of your own: {repair}"
	onlyPrepared  = "Use a card that holds only what was prepared."
	retry         = "Clean the contacts, try another reader; if it stays so, use another card."
	retryThenLook = "Clean the contacts, try another reader, and verify again."
	rescue        = "If files on it are missed, do not format or write to it: keep it for whoever rescues files. For the boat, use another card: {prepare}"
	proveDrive    = "verify its drive, which {readers} lists: {drive}"
)

// The card and its file system.
var (
	tooSmall = cause{TooSmall, Stop, "The devices aboard do not accept a card this small.", "Use a larger card."}
	tooLarge = cause{TooLarge, Stop, "The devices aboard do not accept a card this large.", "Use a smaller card."}

	noFileSystem       = cause{NoFileSystem, Stop, "No device can read it.", againOrOther}
	encrypted          = cause{NoFileSystem, Stop, "The card is encrypted, or was wiped with noise; no device can read it.", againOrOther}
	blank              = cause{NoFileSystem, Stop, "The card is blank, was never formatted, or the writing of it was interrupted; no device can read it.", againOrOther}
	bootSectorsUseless = cause{NoFileSystem, Stop, "The start of the file system is destroyed; no device can read it.", rescue}
	bootSectorGone     = cause{NoFileSystem, Stop, "The start of the file system is overwritten, or its writing was interrupted. The files may still be there, but no device finds them.", rescue}
	tableGone          = cause{NoFileSystem, Stop, "The partition table is gone, or its writing was interrupted. The files may still be there, but no device finds them.", rescue}

	otherFileSystem   = cause{OtherFileSystem, Stop, "The devices aboard do not read this file system, whatever is on it.", "Use another card: {prepare}"}
	notKnownToBeRead  = cause{OtherFileSystem, Stop, "Cards for devices are FAT32 unless their maker says otherwise, and no vessel was named that would tell.", "Name the vessel, and have its files written to another card: {repair}"}
	notReadNorNeeded  = cause{OtherFileSystem, Stop, otherFileSystem.meaning, putAway}
	rightFilesOnOther = cause{OtherFileSystem, Stop, "Right files, wrong file system: the devices aboard do not read it.", "Copy them to a card that your devices can read: {repair}"}
	someRightOnOther  = cause{OtherFileSystem, Stop, otherFileSystem.meaning + " Some of the files are right.", "Have the rest written with them, to a card that the devices can read: {repair}"}

	severalSystems = cause{Structure, Stop, "Some devices read one of them, some another.", againOrOther}
	damaged        = cause{Structure, Stop, "The file system is damaged (%s); devices may read it differently.", againThenNew}
	damagedBeyond  = cause{Structure, Stop, "The file system is damaged beyond what can be listed.", "Use another card."}
	chainTooShort  = cause{Structure, Stop, "The file system is damaged: this file can't be read whole.", againThenNew}
	bookKeeping    = cause{MinorDamage, Warn, "The file system's book-keeping is off (%s). No file depends on it.", "Nothing, if all files match; else prepare the card again."}
	badClusters    = cause{MinorDamage, Warn, "A computer found places on this card that it could not use, and marked them. No file stands there; the card may be wearing out.", "Nothing for now, if all files match. Use another card next time."}
	uncommonLayout = cause{UncommonLayout, Warn, "Computers read such a card, but not every device does. Whether those aboard do is not known.", "Prepare a card of your own, laid out as devices expect it: {repair}"}
	behindADriver  = cause{UncommonLayout, Warn, "As a rule that is exFAT or NTFS, which devices do not read; the system does not tell which.", "Verify the drive, not the folder: {drive}"}
	unreadable     = cause{Unreadable, Stop, "What stands there is not known.", retry}

	digestDiffers = cause{DigestDiffers, Stop, "The card is not, byte for byte, the one that was written.", again}

	folderOnly    = cause{FolderOnly, Note, "The files were judged; the file system that holds them was not.", "To judge all of the card, " + proveDrive}
	imageOnly     = cause{ImageOnly, Note, "The file was judged. Its copy on a card can still fail.", "Once it is copied, verify the card itself, whose drive {readers} lists: {drive}"}
	notFromMedium = cause{NotFromMedium, Warn, "What stands on the card itself is not proven.", "Take the card out, put it in again, and " + proveDrive}
	noPlainFile   = cause{ExtraFile, Stop, "Such a thing cannot stand on a card.", "Remove it."}
)

// What is expected.
var (
	nothingNeeded   = cause{NothingNeeded, Stop, "%s needs nothing from a card: every device runs the newest release that fits.", putAway}
	nothingExpected = cause{NothingExpected, Warn, "Nothing says what this card should hold: what is on it can be told, not whether it is right.", "Name the vessel: {verify}"}
	otherVessel     = cause{OtherVessel, Stop, "The card was made for another vessel.", "Keep it for that vessel. Use the card that was made for this one, or prepare one: {prepare}"}
	othersNotNeeded = cause{OtherVessel, Stop, otherVessel.meaning, "Keep it for that vessel."}
	otherPlan       = cause{OtherPlan, Stop, "The card was made for another plan of this vessel: its devices or the catalogue have changed since.", useTheRight}
	wayBackCard     = cause{WayBackCard, Stop, "It takes devices back to older releases: it is not the card for the update.", "Keep it apart, and out of devices that install at power-up. To judge it as what it is, verify it against the way back that it was made for: {wayback}"}
	wayBackAlone    = cause{NothingExpected, Warn, "A WAY BACK card takes devices back to older releases. It is good only against the way back that it was made for.", "Verify it against that way back: {wayback}"}
	updateCard      = cause{WayBackCard, Stop, "It is a card of updates: nothing goes back with it.", "Use the card that is marked WAY BACK, or prepare one: {prepare}"}
	otherCard       = cause{OtherCard, Stop, "It is another card of the set.", useTheRight}
	superseded      = cause{Superseded, Warn, "The card was made for an earlier plan: the vessel's devices or the catalogue have changed since.", "Verify it for %s, or prepare a new card."}
	fitsAnother     = cause{FitsVessel, Note, "By its files it is another vessel's card.", "Keep it for that vessel. Use the card that was made for this one, or prepare one: {prepare}"}
	fitsNotNeeded   = cause{FitsVessel, Note, fitsAnother.meaning, othersNotNeeded.advice}
	fitsVessel      = cause{FitsVessel, Note, "By content; verify it for %s to judge the card for it.", ""}
)

const (
	putAway     = "Put this card away."
	useTheRight = "Use the card that was made for this vessel and plan, or prepare this one again."
)

// Wanted files.
var (
	contentDiffers = cause{ContentDiffers, Stop, "The file was altered or damaged. A device that installed it could be left without working software.", "Do not use the card. Prepare it again; if it happens again, use another card."}
	replaced       = cause{ContentDiffers, Stop, "The card has the bytes that this file had until it was replaced on %s: %s", again}
	takenOut       = cause{ContentDiffers, Stop, "The card has a file that was taken out of its release on %s: %s", again}
	replacedSince  = cause{Superseded, Warn, "A file of it was replaced on %s, after the card was made: %s", "Prepare a new card."}
	sizeDiffers    = cause{SizeDiffers, Stop, "The file is not whole, or is another one.", again}
	truncated      = cause{Truncated, Stop, "It is the beginning of %s, and no more: a download or a copy that was interrupted.", "Do not install it. Download it again, or prepare the card again."}
	missingFile    = cause{MissingFile, Stop, "A device that needs this file cannot be updated from this card.", again}
	unseenFile     = cause{MissingFile, Warn, "Part of the card's list of files could not be read: the file may be there.", retryThenLook}
	nameCase       = cause{NameCase, Warn, "The name differs in letter case; FAT32 takes both for one.", "Nothing, unless the device does not show the file."}
	movedFolder    = cause{MovedFolder, Warn, "The files for step %d (%s) are whole, in a folder of another name.", "Choose this folder on the device's screen; the install order written now names it."}
	hiddenWanted   = cause{HiddenFile, Stop, "The device may leave it out of its list, or pass it over.", cardOfYourOwn}
	otherShortName = cause{OtherShortName, Stop, "The card also has a short name for it, which simple devices go by, and that name is wrong: they would not find the file.", cardOfYourOwn}

	sameNames       = cause{SameName, Warn, "Two names in one folder are the same to some devices: they may take either (name-twice).", "Nothing, as long as neither is needed; else prepare a card of your own."}
	sameNamesWanted = cause{SameName, Stop, sameNames.meaning, cardOfYourOwn}
	nameTwice       = cause{MinorDamage, Warn, sameNames.meaning, sameNames.advice}
	nameTwiceWanted = cause{Structure, Stop, sameNames.meaning, cardOfYourOwn}
	behindEnd       = cause{BehindEnd, Stop, "Some devices read on past the end of a folder, and may take this.", cardOfYourOwn}

	severalInFolder  = cause{TwoPackages, Stop, "The device may take either from this folder; one has to be installed before the other, or not at all.", "Put each into a folder of its own, or prepare a card of your own: {repair}"}
	severalAtPowerUp = cause{TwoPackages, Stop, "%s (%s) installs by itself when it is powered up, and which of these it takes is not known.", "Do not put this card into it. Prepare cards of your own: each holds one of them."}
	wouldTake        = cause{WouldTake, Note, "It installs by itself when it is powered up with this card in.", "Keep the card out of it until its step comes."}
)

// What else is there.
var (
	extraFile    = cause{ExtraFile, Stop, "It is not part of what this vessel needs; a device may show it, or take it for an update.", onlyPrepared}
	extraFolder  = cause{ExtraFolder, Stop, extraFile.meaning, onlyPrepared}
	clutter      = cause{Clutter, Warn, "It is harmless where the package is chosen on the device's screen.", "Nothing; or prepare the card again, and put it into no computer afterwards."}
	clutterTaken = cause{Clutter, Stop, "A device aboard installs by itself at power-up: nothing may stand beside its package.", "Prepare the card again, and put it into no computer afterwards."}
	program      = cause{Executable, Stop, "No device needs it. It may be meant for the computer that the card is put into.", "Do not open it. Use a card of your own."}
	autorun      = cause{Autorun, Stop, program.meaning, program.advice}
	hiddenFile   = cause{HiddenFile, Stop, "Lists of files leave it out.", onlyPrepared}
	hostileName  = cause{HostileName, Stop, "The name has characters that hide, turn text round or move the cursor.", "Do not trust what other programs show of this card. Use a card of your own."}

	knownRelease  = cause{KnownRelease, Note, "It is a package of the catalogue, whole and unaltered.", ""}
	notNeeded     = cause{NotNeeded, Stop, "No device aboard needs it on this visit.", takeOff}
	withdrawn     = cause{WithdrawnRelease, Stop, "Its maker withdrew it: %s", "Do not install it."}
	notAboard     = cause{NotAboard, Stop, "%s has no %s.", takeOff}
	otherVariant  = cause{OtherVariant, Stop, "It is for variant %q, which no device aboard is.", takeOff}
	olderRelease  = cause{OlderRelease, Stop, "It is older than what the device runs or gets.", takeOff}
	newerRelease  = cause{NewerRelease, Stop, "It is newer than what is planned: it does not fit the other devices, or a hold keeps it off.", takeOff}
	onAnotherCard = cause{OtherCard, Stop, "The vessel needs it, but on another card.", "Take it off this card, or prepare cards of your own."}
	wrongFolder   = cause{WrongFolder, Stop, "The file is right, and stands where its device does not look for it.", "Move it to /%s and verify again, or prepare a card of your own."}
	renamedFile   = cause{RenamedFile, Stop, "The file is right, and has a name that its device does not look for.", "Make it /%s and verify again, or prepare a card of your own."}
	byABrowser    = cause{RenamedFile, Stop, renamedFile.meaning + " A browser gives such names.", renamedFile.advice}
	asDownloaded  = cause{StillZipped, Stop, "It is the right package, as it is downloaded. Devices do not look into archives.", unpack}
	stillZipped   = cause{StillZipped, Stop, "Devices do not look into archives.", unpack}
	alteredKnown  = cause{ContentDiffers, Stop, "It has the name and size of %s, and other bytes: it was altered or damaged.", "Do not install it. Prepare the card again."}
	partial       = cause{PartialDownload, Stop, "The name is one that browsers give while they are still downloading.", "Download it again to the end."}
)

const (
	takeOff = "Take it off the card, or use a card that holds only what was prepared."
	unpack  = "Unpack it, or prepare a card of your own."
)

// The record's folder.
var (
	noRecord        = cause{NoRecord, Stop, "The card was not made by cardwright, or its record was removed. It is judged by its contents.", "Prepare a card of your own if you may have to prove later what was on it."}
	newerRecord     = cause{NewerRecord, Warn, "A newer cardwright made this card. What its record says can't be read here.", "Update cardwright on this computer, and verify the card again."}
	recordDamaged   = cause{RecordAltered, Stop, "The record was altered or damaged.", again}
	recordAltered   = cause{RecordAltered, Stop, alteredSince, again}
	sumsAltered     = cause{SumsAltered, Stop, alteredSince, again}
	orderGone       = cause{OrderAltered, Stop, alteredSince, again}
	orderDiffers    = cause{OrderAltered, Stop, "The install order on the card is not the one for this plan.", again}
	otherWording    = cause{OtherWording, Note, "It was written by another edition of cardwright, or from a vessel file that said other things beside the plan.", ""}
	unsignedWording = cause{OtherWording, Warn, otherWording.meaning + " Nobody whom this shop knows signed it. It names this plan's steps in their order; trust nothing else in it.", "Work by the order that is written from here: {order}"}
	outdatedOrder   = cause{OutdatedOrder, Warn, "The order on this card, and its list of digests, name a folder that isn't there.", "Go by the order that is written now: {order}"}
	hiddenOwn       = cause{HiddenFile, Warn, "Whoever looks for the install order on the card may not see it. No device depends on it.", "Nothing, if the order is on paper."}

	signed        = cause{Signed, Note, "The record is theirs, unaltered.", ""}
	signerUnknown = cause{SignerUnknown, Warn, "The record was altered, or somebody whom this shop doesn't know made it.", "Trust the files that were compared. Don't trust what the record says of who made the card."}
	unsigned      = cause{Unsigned, Note, "Anybody could have written the record.", ""}
	noSignature   = cause{SignerUnknown, Stop, "No signature is like that: it was altered, or somebody put it there.", onlyPrepared}
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
