package media

import (
	"fmt"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
)

// nameFolders gives every step the folder that its device will show. A folder of
// ours is numbered by the step that uses it first; the packages of one device are
// in folders by version below its own.
func (l *layer) nameFolders(steps []order.Step) {
	perDevice := map[string]int{}
	first := map[string]int{}
	for _, s := range steps {
		perDevice[s.Device]++
		if _, ok := first[s.Device]; !ok {
			first[s.Device] = s.Number
		}
	}
	digits := max(2, len(fmt.Sprint(len(steps))))
	for i := range steps {
		s := &steps[i]
		rules := l.rules(*s)
		switch {
		case s.Route != "":
			continue // its files stay in the shop
		case rules == nil:
			continue // place says why
		case rules.Folder != manifest.AnyFolder && rules.Folder != "":
			s.Folder = strings.Trim(rules.Folder, "/")
		case l.vessel.Folders == manifest.FoldersByModel:
			s.Folder = s.Model + "/" + versionFolder(s.To)
		default:
			s.Folder = fmt.Sprintf("%0*d-%s", digits, first[s.Device], s.Device)
			if perDevice[s.Device] > 1 {
				s.Folder += "/" + versionFolder(s.To)
			}
		}
	}
}

// versionFolder is a version as the name of a folder: FAT allows no colon.
func versionFolder(v version.V) string { return strings.ReplaceAll(string(v), ":", "_") }
