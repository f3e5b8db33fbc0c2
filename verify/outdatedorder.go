package verify

import (
	"cardwright/media"
)

// judgeFolderNames reports an install order on the card that names folders
// which aren't there any more.
func judgeFolderNames(m matched, report func(Finding)) {
	f := m.card.files.fileAt(media.InstallOrderPath)
	if f == nil || len(m.moved) == 0 {
		return
	}
	for _, s := range m.expected.Aboard.Plan.Steps {
		if now := m.folderOf(s); now != s.Folder {
			report(outdatedOrder.at(f.Path, "/"+now, "/"+s.Folder))
		}
	}
}
