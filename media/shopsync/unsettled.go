package shopsync

import (
	"slices"
	"strings"

	"cardwright/manifest"
)

// Unsettled are the conflicts that concern vessels: files of theirs, of their devices'
// models, and packages of those, in the order of the conflicts. Nothing may be planned
// for these vessels while there are any.
func Unsettled(shop *manifest.Shop, vessels ...*manifest.Vessel) ([]string, error) {
	list, err := Conflicts(shop.Dir)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	uses := map[string]bool{}
	for _, v := range vessels {
		uses[v.At("").File] = true
		for _, d := range v.Devices {
			uses["packages/"+d.Model] = true
			if m := shop.Model(d.Model); m != nil {
				uses[m.At("").File] = true
			}
		}
	}
	var files []string
	for _, c := range list {
		parts := strings.SplitN(c.File, "/", 3)
		if (uses[c.File] || len(parts) > 2 && uses[parts[0]+"/"+parts[1]]) && !slices.Contains(files, c.File) {
			files = append(files, c.File)
		}
	}
	return files, nil
}
