package verify

import (
	"path"
	"slices"
	"strings"
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

// clutter reports what a desktop system left: harmless where a person chooses
// the package on the device's screen, as long as no device would show it there.
func (i *identifier) clutter(f *file) *identified {
	if !isClutter(f.Path) || !f.dir && i.known.passesForPackage(f) {
		return nil
	}
	it := identified{f, clutter, "nothing", "what a computer leaves on every card it sees"}
	if f.dir {
		it.found = "a folder that computers make on every card they see"
	}
	if len(i.visit.atPowerUp()) > 0 {
		it.diagnosis = clutterTaken
	}
	return &it
}

// appleDouble begins the files that one desktop system keeps next to others, by
// their names with "._" before them (RFC 1740, appendix A).
const appleDouble = "\x00\x05\x16\x07"

// settingsOfWindows is what Windows puts on every card, of 12 bytes (from
// memory), whose name ends as packages may: no device looks for one there.
const (
	settingsOfWindows = "System Volume Information/WPSettings.dat"
	mostSettings      = 64 // bytes
)

// programEndings are of files that computers run (from memory).
var programEndings = []string{
	".exe", ".com", ".bat", ".cmd", ".scr", ".pif", ".msi", ".vbs", ".vbe", ".js", ".jse", ".wsf", ".hta", ".ps1",
	".lnk", ".dll", ".sys", ".cpl", ".jar", ".sh", ".app", ".command", ".apk", ".dmg", ".desktop", ".py",
}

// asProgram reports files that a computer would start.
func asProgram(f *file) *identified {
	base := strings.ToLower(path.Base(f.Path))
	switch {
	case base == "autorun.inf" || base == ".autorun" || base == "autorun.sh":
		return &identified{f, autorun, "nothing", "a file that computers start by themselves"}
	case slices.Contains(programEndings, path.Ext(base)):
		return &identified{f, program, "nothing", "a program or script for computers"}
	}
	return nil
}
