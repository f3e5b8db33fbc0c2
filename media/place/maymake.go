// Package place knows where files may be made, and what they are called until
// they are finished. Everything that the program writes asks it, whatever the
// file is: a card image, a page, a backup, a key.
//
// The name of a device that isn't there is a file name like any other, and the
// system makes a plain file of it: in the memory of /dev it looks like a card, and
// is gone after the next start.
package place

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"cardwright/manifest/pattern"
)

// NoPlace says why no file is made at a path.
type NoPlace struct {
	Path  string
	Drive bool // it is where drives have their names, on this system or on another
	Why   string
}

func (e *NoPlace) Error() string {
	return fmt.Sprintf("%s: no file can be made there: %s", e.Path, e.Why)
}

// MayMake is nil where a file or folder may be made at a path, and otherwise a
// *NoPlace. It looks at where the path leads and on which file system that is. Links
// are followed, even those that lead to nothing yet. A missing folder on the way is
// not its business.
func MayMake(path string) error {
	if why := deviceName(path); why != "" {
		return &NoPlace{path, true, why}
	}
	if why := windowsName(path); why != "" && runtime.GOOS == "windows" {
		return &NoPlace{path, false, why}
	}
	real, err := resolved(path)
	if err != nil {
		return nil // reported when it is opened
	}
	if filepath.ToSlash(filepath.Dir(real)) == "/dev" {
		return &NoPlace{path, true, "/dev is where a system keeps its drives and other devices"}
	}
	why, devices := whyNoFiles(nearestExisting(filepath.Dir(real)))
	if why == "" {
		return nil
	}
	return &NoPlace{path, devices, why}
}

// maxLinks is how many links in a row are followed, as many as Linux follows
// (path_resolution(7)).
const maxLinks = 40

// resolved is where a path leads: an absolute path without links in its folder, as
// far as that exists, and whose last part is no link.
func resolved(path string) (string, error) {
	for range maxLinks {
		full, err := filepath.Abs(path)
		if err != nil {
			return "", err
		}
		folder, err := filepath.EvalSymlinks(filepath.Dir(full))
		if errors.Is(err, fs.ErrNotExist) {
			return full, nil
		}
		if err != nil {
			return "", err
		}
		full = filepath.Join(folder, filepath.Base(full))
		to, err := os.Readlink(full)
		if err != nil { // no link
			return full, nil
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(folder, to)
		}
		path = to
	}
	return "", errors.New("too many links")
}

// nearestExisting is a folder, or the nearest one above it that exists.
func nearestExisting(folder string) string {
	for {
		real, err := filepath.EvalSymlinks(folder)
		if err == nil {
			return real
		}
		above := filepath.Dir(folder)
		if above == folder {
			return folder
		}
		folder = above
	}
}

// Names of devices that a person may type out of habit, on any system. A shell
// takes some of the backslashes away.
var (
	ntDevice  = pattern.Of(`(?i)^([\\/]{1,2}[.?][\\/]|[\\/]?[.][\\/]*)?(physicaldrive|harddiskvolume|harddisk|cdrom)\d+[\\/]*$`)
	ntSpace   = pattern.Of(`(?i)^([\\/]{2}[.?][\\/]|[\\/]?\?\?[\\/])`)
	ntLetter  = pattern.Of(`(?i)^[a-z]:[\\/]*$`)
	ntVolume  = pattern.Of(`(?i)volume\{[0-9a-f-]{36}\}[\\/]*$`)
	dosDevice = pattern.Of(`(?i)^(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³]):?(\.[^\\/]*)?$`)
	unixDev   = pattern.Of(`^[\\/]dev[\\/][^\\/]+$`)
)

// deviceName says that a path is the name of a device, and on which system; ""
// where it isn't. The names of Windows are from Microsoft's "Naming Files, Paths,
// and Namespaces".
func deviceName(path string) string {
	const windows = "that is the name of a drive on Windows"
	switch {
	case ntDevice.Regexp().MatchString(path), ntLetter.Regexp().MatchString(path), ntVolume.Regexp().MatchString(path):
		return windows
	case ntSpace.Regexp().MatchString(path) && !hasFolders(path):
		return "that is the name of a device on Windows"
	case dosDevice.Regexp().MatchString(lastPart(path)):
		return "that is the name of a device on Windows, whatever its ending"
	case unixDev.Regexp().MatchString(path):
		return "/dev is where Linux and macOS keep their drives and other devices"
	}
	return ""
}

// hasFolders tells a long path, such as \\?\C:\cards\k.img, from the name of a
// device.
func hasFolders(path string) bool {
	return len(strings.FieldsFunc(path[3:], func(r rune) bool { return r == '\\' || r == '/' })) > 1
}

func lastPart(path string) string { return path[strings.LastIndexAny(path, `\/`)+1:] }

// The ways in which a path of Windows begins, and what its names can't hold
// (Microsoft, "Naming Files, Paths, and Namespaces"). A colon would begin the name of
// a stream, which no listing shows.
var (
	windowsStart   = pattern.Of(`^([\\/]{2}[?.][\\/])?([A-Za-z]:)?`)
	windowsRefuses = pattern.Of(`[<>:"|?*\x00-\x1f]`)
)

// windowsName says why Windows makes no file of a name, "" where it does.
func windowsName(path string) string {
	path = path[len(windowsStart.Regexp().FindString(path)):]
	for _, name := range strings.FieldsFunc(path, func(r rune) bool { return r == '\\' || r == '/' }) {
		if windowsRefuses.Regexp().MatchString(name) {
			return `Windows allows no < > : " | ? * and no control character in a name`
		}
		if strings.Trim(name, ".") != "" && strings.TrimRight(name, ". ") != name {
			return "Windows allows no full stop or space at the end of a name"
		}
	}
	return ""
}
