package manifest

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// errNoShop says that a folder is no shop folder.
var errNoShop = errors.New("no " + ShopFile)

// FindShop returns the shop folder that start is in: start itself, or the
// nearest folder above it that holds shop.yaml, or an error where there is none.
func FindShop(start string) (string, error) {
	start, err := filepath.Abs(start)
	if err != nil {
		return "", fmt.Errorf("finding shop folder: %w", err)
	}
	for dir := start; ; dir = filepath.Dir(dir) {
		info, err := os.Stat(filepath.Join(dir, ShopFile))
		switch {
		case err == nil && info.Mode().IsRegular():
			return dir, nil
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return "", fmt.Errorf("finding shop folder: %w", err)
		case dir == filepath.Dir(dir):
			return "", fmt.Errorf("finding shop folder: %w in %s or any folder above it", errNoShop, start)
		}
	}
}
