package edit

import (
	"strings"

	"cardwright/manifest/tables"
)

// DeviceColumns are the columns of a table of devices, named as the keys that they
// fill in.
var DeviceColumns = []tables.Column{
	{Name: "model", Key: "Device.model", Must: true},
	{Name: "id", Key: "Device.id"},
	{Name: "serial", Key: "Device.serial"},
	{Name: "place", Key: "Device.place"},
	{Name: "version", Key: "Device.version"},
	{Name: "variant", Key: "Device.variant"},
	{Name: "through"},
	{Name: "hold", Key: "Device.hold"},
	{Name: "hold_why", Key: "Device.hold_why"},
}

// DeviceInRow is the device of a row of a table; through has blanks between its ids.
func DeviceInRow(row tables.Row) NewDevice {
	return NewDevice{
		At: row.At("model"), ID: row.Get("id"), Model: row.Get("model"), Serial: row.Get("serial"), Place: row.Get("place"),
		Version: row.Get("version"), Variant: row.Get("variant"), Through: strings.Fields(row.Get("through")),
		Hold: row.Get("hold"), HoldWhy: row.Get("hold_why"),
	}
}
