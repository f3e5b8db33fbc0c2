package verify

import (
	"path"
	"slices"
	"strings"
	"time"
)

// Group is all files of one sort on a card, as a person would miss them.
type Group struct {
	Sort   string
	Count  int
	Bytes  int64
	Newest time.Time // zero where no date is known
}

// sorts are what files of an open format hold. A file's name is no proof of
// what is in it; for telling what would be lost it is enough.
var sorts = []struct {
	sort  string
	names []string // endings
}{
	{"waypoints, routes and tracks", []string{".gpx", ".kml", ".kmz", ".nmea"}},
	{"charts", []string{".000", ".031", ".kap", ".bsb", ".mbtiles"}}, // IHO S-57 cells and catalogues, raster charts, tiles
	{"pictures and films", []string{".jpg", ".jpeg", ".png", ".heic", ".mp4", ".mov", ".avi"}},
	{"documents", []string{".pdf", ".txt", ".doc", ".docx", ".odt", ".csv", ".xls", ".xlsx"}},
	{"archives and packages", []string{".zip", ".7z", ".gz", ".tar", ".upd", ".bin", ".img"}},
}

const otherSort = "other files"

// BySort groups files by what they hold, the ones hardest to replace first.
func BySort(files []ListedFile) []Group {
	groups := make([]Group, len(sorts)+1)
	for i := range sorts {
		groups[i].Sort = sorts[i].sort
	}
	groups[len(sorts)].Sort = otherSort
	for _, f := range files {
		g := &groups[sortOf(f.Path)]
		g.Count++
		g.Bytes += f.Size
		if f.Modified.After(g.Newest) {
			g.Newest = f.Modified
		}
	}
	return slices.DeleteFunc(groups, func(g Group) bool { return g.Count == 0 })
}

func sortOf(name string) int {
	ending := strings.ToLower(path.Ext(name))
	for i, s := range sorts {
		if slices.Contains(s.names, ending) {
			return i
		}
	}
	return len(sorts)
}
