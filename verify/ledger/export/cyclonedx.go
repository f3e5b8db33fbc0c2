package export

import (
	"crypto/sha256"
	"fmt"
	"io"

	"github.com/CycloneDX/cyclonedx-go"

	"cardwright/manifest/version"
	"cardwright/verify/ledger/audit"
)

// CycloneDX writes the fleet as a bill of materials, CycloneDX 1.6 in JSON:
// a component for each device (its group is the vessel's id), with its
// firmware in it. A device whose version nobody knows has no firmware; one on
// which two writers disagree has both.
func CycloneDX(w io.Writer, about About, fleet audit.Fleet) error {
	bom := cyclonedx.NewBOM()
	bom.SerialNumber = serial(about)
	bom.Metadata = &cyclonedx.Metadata{
		Timestamp:    stamp(about.Made),
		Manufacturer: organisation(about.Shop),
		Tools: &cyclonedx.ToolsChoice{Components: &[]cyclonedx.Component{
			{Type: cyclonedx.ComponentTypeApplication, Name: "cardwright"},
		}},
		Properties: properties("ledger", about.Ledger),
	}
	components := []cyclonedx.Component{}
	depends := []cyclonedx.Dependency{}
	for _, row := range fleet.Vessels {
		for _, d := range row.Devices {
			c, dep := component(len(components)+1, row, d)
			components, depends = append(components, c), append(depends, dep)
		}
	}
	bom.Components, bom.Dependencies = &components, &depends
	enc := cyclonedx.NewBOMEncoder(w, cyclonedx.BOMFileFormatJSON)
	if err := enc.SetPretty(true).SetEscapeHTML(false).EncodeVersion(bom, cyclonedx.SpecVersion1_6); err != nil {
		return fmt.Errorf("writing CycloneDX: %w", err)
	}
	return nil
}

// serial names the document by what it is of: a UUID of version 8 (RFC 9562).
func serial(about About) string {
	b := sha256.Sum256([]byte(about.Ledger + stamp(about.Made)))
	b[6] = b[6]&0x0f | 0x80
	b[8] = b[8]&0x3f | 0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", b[0:4], b[4:6], b[6:8], b[8:10], b[10:16])
}

func organisation(name string) *cyclonedx.OrganizationalEntity {
	if name == "" {
		return nil
	}
	return &cyclonedx.OrganizationalEntity{Name: name}
}

// properties takes names and values by turns and leaves empty values out.
func properties(pairs ...string) *[]cyclonedx.Property {
	var list []cyclonedx.Property
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			list = append(list, cyclonedx.Property{Name: "cardwright:" + pairs[i], Value: pairs[i+1]})
		}
	}
	return &list
}

func component(n int, row audit.Row, d audit.Standing) (cyclonedx.Component, cyclonedx.Dependency) {
	ref := fmt.Sprintf("device-%d", n)
	v := row.Vessel
	c := cyclonedx.Component{
		BOMRef: ref, Type: cyclonedx.ComponentTypeDevice, Manufacturer: organisation(d.Maker), Group: v.ID,
		Name: name(d), Description: d.Kind,
		Properties: properties(
			"vessel", v.ID, "vessel-name", v.Name, "imo", v.IMO, "mmsi", v.MMSI, "hull", v.Hull, "berth", v.Berth,
			"device", d.ID, "model", d.Model, "serial", d.Serial, "place", d.Place, "variant", d.Variant,
			"status", string(d.Status), "version-read", stamp(d.Since),
		),
	}
	var firmware []cyclonedx.Component
	var refs []string
	for _, read := range []version.V{d.Version, d.Other} {
		if read == "" || read == version.Unknown {
			continue
		}
		f := fmt.Sprintf("%s-firmware-%d", ref, len(firmware)+1)
		refs = append(refs, f)
		firmware = append(firmware, cyclonedx.Component{
			BOMRef: f, Type: cyclonedx.ComponentTypeFirmware, Manufacturer: organisation(d.Maker), Name: name(d), Version: string(read),
		})
	}
	if len(firmware) > 0 {
		c.Components = &firmware
	}
	return c, cyclonedx.Dependency{Ref: ref, Dependencies: &refs}
}

// name is what a device is called: its model, or what the vessel calls it.
func name(d audit.Standing) string {
	if d.Model != "" {
		return d.Model
	}
	return d.ID
}
