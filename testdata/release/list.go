package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"

	"github.com/CycloneDX/cyclonedx-go"
	"github.com/google/licensecheck"
)

// writeList writes what is inside the programs, and under which licences, in
// CycloneDX 1.6. It has no date and no serial number: the same sources give
// the same list.
func writeList(path string, modules map[string]module) error {
	components := []cyclonedx.Component{{
		Type: cyclonedx.ComponentTypeLibrary, BOMRef: "std", Name: "std", Version: runtime.Version(),
		Description: "Go's standard library", PackageURL: "pkg:golang/std@" + strings.TrimPrefix(runtime.Version(), "go"),
		Licenses: licenses([]string{"BSD-3-Clause"}),
	}}
	var refs []string
	for _, name := range slices.Sorted(maps.Keys(modules)) {
		c, err := component(modules[name])
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		components, refs = append(components, c), append(refs, c.BOMRef)
	}
	fonts := cyclonedx.Component{
		Type: cyclonedx.ComponentTypeFile, BOMRef: "dejavu-fonts", Name: "DejaVu fonts",
		Licenses: &cyclonedx.Licenses{{License: &cyclonedx.License{Name: "Bitstream Vera and Arev fonts licence"}}},
	}
	components = append(components, fonts)
	bom := cyclonedx.NewBOM()
	bom.Metadata = &cyclonedx.Metadata{Component: &cyclonedx.Component{
		Type: cyclonedx.ComponentTypeApplication, BOMRef: "cardwright", Name: "cardwright", Licenses: licenses([]string{"MIT"}),
	}}
	bom.Components = &components
	all := append(refs, "std", fonts.BOMRef)
	bom.Dependencies = &[]cyclonedx.Dependency{{Ref: "cardwright", Dependencies: &all}}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := cyclonedx.NewBOMEncoder(f, cyclonedx.BOMFileFormatJSON).SetPretty(true).EncodeVersion(bom, cyclonedx.SpecVersion1_6); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func component(m module) (cyclonedx.Component, error) {
	dir, err := folderOf(m)
	if err != nil {
		return cyclonedx.Component{}, err
	}
	given, err := licensesOf(m.path, dir)
	if err != nil {
		return cyclonedx.Component{}, err
	}
	return cyclonedx.Component{
		Type: cyclonedx.ComponentTypeLibrary, BOMRef: m.path + "@" + m.version, Name: m.path, Version: m.version,
		PackageURL: "pkg:golang/" + m.path + "@" + m.version,
		Properties: &[]cyclonedx.Property{{Name: "go.sum", Value: m.sum}},
		Licenses:   given,
	}, nil
}

// choices are modules that leave a choice between licences, in SPDX's words,
// with the folder that has their texts: freetype's LICENSE says which.
var choices = map[string]struct{ folder, expression string }{
	"github.com/golang/freetype": {"licenses", "FTL OR GPL-2.0-or-later"},
}

// licensesOf are the licences of a module that stands in a folder.
func licensesOf(module, dir string) (*cyclonedx.Licenses, error) {
	choice, is := choices[module]
	found, err := licensesIn(filepath.Join(dir, choice.folder))
	if err == nil && is {
		return &cyclonedx.Licenses{{Expression: choice.expression}}, nil
	}
	return licenses(found), err
}

var licenseFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|unlicense|ftl|gpl)([.-].*)?$`)

// leastCovered is how much of a file has to be a licence's known text, in
// percent.
const leastCovered = 75

// licensesIn are the licences of which the texts are in a folder, by SPDX's names. A
// module without a known one is an error: nobody would know whether it may be
// given out.
func licensesIn(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	found := map[string]bool{}
	for _, e := range entries {
		if e.IsDir() || !licenseFile.MatchString(e.Name()) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		if cover := licensecheck.Scan(text); cover.Percent >= leastCovered {
			for _, m := range cover.Match {
				found[m.ID] = true
			}
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("no licence is known in %s", dir)
	}
	return slices.Sorted(maps.Keys(found)), nil
}

func licenses(ids []string) *cyclonedx.Licenses {
	var all cyclonedx.Licenses
	for _, id := range ids {
		all = append(all, cyclonedx.LicenseChoice{License: &cyclonedx.License{ID: id}})
	}
	return &all
}
