package media_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
)

// The devices of a card that was laid out come back from its record, also those whose
// packages are unpacked; folders that a model demands name none.
func TestDevicesOfARecord(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	rules := shoptest.AnyCard()
	rules.Folder = "/update"
	shop.Model("solveld-course-3", rules)
	shop.Device("flybridge", "fennick-plot-12")
	shop.Device("lower-helm", "fennick-plot-12")
	shop.Device("pilot", "solveld-course-3")
	shop.Step("flybridge", "4.0-12", "", shoptest.Make("plot12.upd", 10, 1), shoptest.Make("notes.txt", 10, 2))
	shop.Step("lower-helm", "4.1", "", shoptest.Make("plot12.upd", 10, 3))
	shop.Step("pilot", "5.2", "", shoptest.Archive(t, "course3.zip", shoptest.Make("course3.bin", 10, 4)))
	layout, _ := shop.Lay()

	var found []string
	for _, card := range layout.Cards {
		record := layout.Record(card)
		devices, unknown := record.Devices(shop.Shop)
		assert.Empty(t, unknown)
		for _, d := range devices {
			found = append(found, d.ID+" "+d.Model.ID+" "+string(d.Release.Version))
		}
	}
	assert.Equal(t, []string{"flybridge fennick-plot-12 4.0-12", "lower-helm fennick-plot-12 4.1", " solveld-course-3 5.2"}, found)
}

// What a stranger wrote is no id, and what the catalogue doesn't have is no device.
func TestDevicesOfAStrangersRecord(t *testing.T) {
	known := shoptest.Make("plot12.upd", 10, 1)
	shop := shoptest.New(t, "")
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("helm", "fennick-plot-12")
	shop.Step("helm", "4.0", "", known)
	sum := shop.Models[0].Releases[0].Files[0].SHA256
	var files []media.RecordFile
	for _, path := range []string{"01-helm/plot12.upd", "1-helm/a", "01--helm/a", "01-HELM/a", "x/01-helm/a", "01-helm-"} {
		files = append(files, media.RecordFile{Path: path, SHA256: sum})
	}
	files = append(files, media.RecordFile{Path: "02-radar/b", SHA256: digest.SHA256("00")}, media.RecordFile{Path: "03-mast/c"})
	record := &media.Record{Files: files}
	devices, unknown := record.Devices(shop.Shop)
	var ids []string
	for _, d := range devices {
		ids = append(ids, d.ID)
		if d.ID != "" {
			assert.Nil(t, manifest.Problem("Device.id", d.ID))
		}
	}
	assert.Equal(t, []string{"helm", ""}, ids)
	assert.Equal(t, []string{"02-radar/b", "03-mast/c"}, unknown)
}
