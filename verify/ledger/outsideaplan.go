package ledger

// The ways in which a release was installed outside any plan, and by whom.
const (
	ByCable       = "by cable"
	OnTheBench    = "on the bench"
	ByTheYard     = "by the yard"
	ByAnotherShop = "by another shop"
	FromOwnCard   = "from a card of the customer's"
)

// Hows is the closed list of Step.How.
var Hows = []string{ByCable, OnTheBench, ByTheYard, ByAnotherShop, FromOwnCard}
