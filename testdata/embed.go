// Package testdata holds the demo shop: invented makers, models and vessels.
package testdata

import "embed"

// Shop has the demo shop's own files, below "shop". The package files that
// its catalogue names are made by cardwright/testdata/demo/packages.
//
//go:embed shop/shop.yaml shop/catalogue/*.yaml shop/vessels/*.yaml
var Shop embed.FS
