package main

import (
	"fmt"
	"os"
	"path/filepath"

	"cardwright/manifest"
	"cardwright/verify/sheet"
)

// shopFont is the font that a shop names for letters that the program's own
// haven't; nil: it names none.
func shopFont(shop *manifest.Shop) (*sheet.Font, error) {
	if shop == nil || shop.Font == "" {
		return nil, nil
	}
	path := filepath.FromSlash(shop.Font)
	if !filepath.IsAbs(path) {
		path = filepath.Join(shop.Dir, path)
	}
	font, err := readFontFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s: font: %s: %w; name another, or take the line out", shop.At("font"), shop.Font, err)
	}
	return font, nil
}

func readFontFile(path string) (*sheet.Font, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("it isn't a file")
	}
	data, err := readAtMost(path, sheet.MaxFont)
	if err != nil {
		return nil, err
	}
	return sheet.ReadFont(data)
}
