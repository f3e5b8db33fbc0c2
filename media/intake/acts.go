package intake

import "cardwright/manifest/problem"

// What the advice of this package asks to have done. %s in the words for one
// is what the comment names.
const (
	TakeIn       problem.Act = "taking it in"
	Replace      problem.Act = "replacing it, with why"
	AddModel     problem.Act = "adding the model"                     // its id
	OpensArchive problem.Act = "saying that the model opens archives" // its id
	SeePlan      problem.Act = "the plan"                             // the vessel's id
	NameIt       problem.Act = "a name"
	NameItSo     problem.Act = "the name that it should have" // the name, quoted for a shell
	SayWhat      problem.Act = "model and version"
	SayDigest    problem.Act = "its SHA-256"
	SayGot       problem.Act = "its SHA-256, and where that was got"
	SayFrom      problem.Act = "the place that was said"
	UnpackIt     problem.Act = "unpacking"
	NoMember     problem.Act = "the member"
	NameMember   problem.Act = "the name of the member"
	OneMore      problem.Act = "saying that it is another file"
	NameOld      problem.Act = "the name of the old one"
	NameList     problem.Act = "the list"
	GiveKey      problem.Act = "the maker's key"
	GiveKeySo    problem.Act = "the key" // the key
	ReplaceKey   problem.Act = "the reason why the key takes its place"
)

// Acts is the closed list of them.
var Acts = []problem.Act{
	TakeIn, Replace, AddModel, OpensArchive, SeePlan, NameIt, NameItSo, SayWhat, SayDigest, SayGot, SayFrom,
	UnpackIt, NoMember, NameMember, OneMore, NameOld, NameList, GiveKey, GiveKeySo, ReplaceKey,
}
