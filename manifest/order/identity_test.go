package order_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest/digest"
	"cardwright/manifest/order"
)

// Cards in drawers name their plan by its ID: it must come out the
// same from every later build. The digest is that of the JSON written out
// below, as sha256sum gives it.
//
//	{"Vessel":"kittiwake","Steps":[{"number":1,"device":"helm","model":"fennick-plot-9","from":"3.1","to":"3.5","card":0,"folder":"","files":[{"name":"plot9-3.5.upd","size":20000,"sha256":"00"}],"over":"\u003e= 3.0","through":"","minutes":10},{"number":2,"device":"radar","model":"fennick-sweep-2","from":"1.6","to":"1.8","card":0,"folder":"","files":null,"over":"","through":"helm","minutes":12}]}
func TestPlanIDStaysWhatItIs(t *testing.T) {
	p := order.Plan{Format: order.Format, Vessel: "kittiwake", Steps: []order.Step{
		{Number: 1, Device: "helm", Model: "fennick-plot-9", From: "3.1", To: "3.5", Card: 1, Folder: "01-helm", Files: []digest.File{{Name: "plot9-3.5.upd", Size: 20000, SHA256: "00"}}, Over: ">= 3.0", Minutes: 10},
		{Number: 2, Device: "radar", Model: "fennick-sweep-2", From: "1.6", To: "1.8", Card: 2, Through: "helm", Minutes: 12},
	}}
	assert.Equal(t, "2dbb7433f3c0484d9021860001b93b73196f629e675997da1b7c32a60f445dfd", p.ID())
}
