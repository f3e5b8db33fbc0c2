package verify

import (
	"path"
	"slices"
	"strings"

	"cardwright/manifest/samename"
	"cardwright/media"
	"cardwright/verify/visible"
)

// clutterNames are what desktop systems leave on every card that they see, by
// the first part of its path (common knowledge of those systems, from memory).
var clutterNames = []string{
	"system volume information", "$recycle.bin", "recycler", "thumbs.db", "desktop.ini",
	".trashes", ".spotlight-v100", ".fseventsd", ".temporaryitems", ".documentrevisions-v100", ".ds_store",
	"lost.dir", "android", ".android_secure", ".trash-1000", "found.000", "lost+found",
}

func isClutter(p string) bool {
	first, _, _ := strings.Cut(strings.ToLower(p), "/")
	base := path.Base(strings.ToLower(p))
	return slices.Contains(clutterNames, first) || slices.Contains(clutterNames, base) || strings.HasPrefix(base, "._")
}

// clutter tells of what a desktop system left: harmless where a person chooses
// the package on the device's screen, as long as no device would show it there.
func (j *judging) clutter(e file) (Finding, bool) {
	if !isClutter(e.path) || !e.dir && j.passesForPackage(e) {
		return Finding{}, false
	}
	f := Finding{
		Kind: Clutter, Severity: Warn, Path: e.path, Expected: "nothing", Found: "what a computer leaves on every card it sees",
		Meaning: "It is harmless where the package is chosen on the device's screen.",
		Advice:  "Nothing; or prepare the card again, and put it into no computer afterwards.",
	}
	if e.dir {
		f.Found = "a folder that computers make on every card they see"
	}
	if j.someInstallAtPowerUp() {
		f.Severity = Stop
		f.Meaning = "A device aboard installs by itself at power-up: nothing may stand beside its package."
		f.Advice = "Prepare the card again, and put it into no computer afterwards."
	}
	return f, true
}

// appleDouble begins the files that one desktop system keeps beside others, by
// their names with "._" before them (RFC 1740, appendix A).
const appleDouble = "\x00\x05\x16\x07"

// settingsOfWindows is what Windows puts on every card, of 12 bytes (from
// memory), whose name ends as packages may: no device looks for one there.
const (
	settingsOfWindows = "System Volume Information/WPSettings.dat"
	mostSettings      = 64 // bytes
)

// passesForPackage tells whether a device might take a file for a package, by
// its ending.
func (j *judging) passesForPackage(e file) bool {
	ending := strings.ToLower(path.Ext(e.path))
	if strings.HasPrefix(path.Base(e.path), "._") && j.head(e) == appleDouble || samename.Same(e.path, settingsOfWindows) && e.size <= mostSettings {
		return false
	}
	return ending != "" && j.endings()[ending]
}

// endings are those of all packages that are known or wanted, in small letters.
func (j *judging) endings() map[string]bool {
	if j.packageEndings == nil {
		j.packageEndings = map[string]bool{}
		for _, all := range j.known {
			for _, r := range all {
				j.packageEndings[strings.ToLower(path.Ext(r.name))] = true
			}
		}
		for _, f := range j.wanted {
			j.packageEndings[strings.ToLower(path.Ext(f.Path))] = true
		}
	}
	return j.packageEndings
}

// programEndings are of files that computers run (from memory).
var programEndings = []string{
	".exe", ".com", ".bat", ".cmd", ".scr", ".pif", ".msi", ".vbs", ".vbe", ".js", ".jse", ".wsf", ".hta", ".ps1",
	".lnk", ".dll", ".sys", ".cpl", ".jar", ".sh", ".app", ".command", ".apk", ".dmg", ".desktop", ".py",
}

// program tells of files that a computer would start.
func program(e file) (Finding, bool) {
	base := strings.ToLower(path.Base(e.path))
	f := Finding{
		Kind: Executable, Severity: Stop, Path: e.path, Expected: "nothing", Found: "a program or script for computers",
		Meaning: "No device needs it. It may be meant for the computer that the card is put into.",
		Advice:  "Do not open it. Use a card of your own.",
	}
	switch {
	case base == "autorun.inf" || base == ".autorun" || base == "autorun.sh":
		f.Kind, f.Found = Autorun, "a file that computers start by themselves"
		return f, true
	case slices.Contains(programEndings, path.Ext(base)):
		return f, true
	}
	return Finding{}, false
}

func hidden(e file) (Finding, bool) {
	return Finding{
		Kind: HiddenFile, Severity: Stop, Path: e.path, Expected: "nothing", Found: "a hidden file of " + media.Bytes(e.size),
		Meaning: "Lists of files leave it out.",
		Advice:  "Use a card that holds only what was prepared.",
	}, e.hidden || strings.HasPrefix(path.Base(e.path), ".")
}

// names tells of names that were made to mislead whoever reads them.
func (j *judging) names() {
	for _, e := range j.files {
		base := path.Base(e.path)
		if visible.Visible(base) == base {
			continue
		}
		j.report.add(Finding{
			Kind: HostileName, Severity: Stop, Path: e.path,
			Expected: "characters that show as themselves", Found: visible.Visible(base),
			Meaning: "The name has characters that hide, turn text round or move the cursor.",
			Advice:  "Do not trust what other programs show of this card. Use a card of your own.",
		})
	}
}
