package main

import (
	"cardwright/manifest/problem"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/media/intake/adding"
	"cardwright/media/readiness"
	"cardwright/verify/ledger/store"
	"cardwright/verify/prepare"
	"cardwright/verify/seatrial"
)

// commandWords say with commands and flags what advice asks to have done: the
// engines that give it know of none.
var commandWords = problem.Words{
	intake.TakeIn:       "cardwright package add",
	intake.Replace:      "cardwright package replace, with --why",
	intake.AddModel:     "cardwright model add %s",
	intake.OpensArchive: "cardwright model add %s --update --opens-archives",
	intake.SeePlan:      "cardwright plan %s",
	intake.NameIt:       "--name",
	intake.NameItSo:     "--name %s",
	intake.SayWhat:      "--model and --version",
	intake.SayDigest:    "--sha256",
	intake.SayGot:       "--sha256 and --from",
	intake.SayFrom:      "--from",
	intake.UnpackIt:     "--unpack",
	intake.NoMember:     "--member",
	intake.NameMember:   "--member NAME",
	intake.OneMore:      "--another-file",
	intake.NameOld:      "--file",
	intake.NameList:     "--digests",
	intake.GiveKey:      "--signing-key",
	intake.GiveKeySo:    "--signing-key %s",
	intake.ReplaceKey:   "--replace-key",

	adding.SayNeeds:     "--needs",
	adding.SayTouch:     "--touch",
	adding.SayReleased:  "--released",
	adding.WholeRelease: "--release",

	media.LeaveBeside: "--beside",

	prepare.NameTarget:    "--to",
	prepare.SaySize:       "--size",
	prepare.SaveFirst:     "--save-first FILE",
	prepare.LoseFiles:     "--lose-files",
	prepare.NameCode:      "--erase",
	prepare.ProveCapacity: "--prove-capacity",
	prepare.Eject:         "--eject",
	prepare.SeeReaders:    "cardwright readers",

	store.SyncIntoNew: "cardwright ledger sync --new NEWLEDGER",
	store.Rebuild:     "cardwright ledger rebuild",
	store.SyncWith:    "cardwright ledger sync %s",
	store.AcceptOlder: "cardwright audit check --accept WHY",

	seatrial.SayVariation:  "--variation",
	seatrial.TakeHeading:   "--heading %s",
	seatrial.TakeReference: "--reference %s",
	seatrial.TakeCourse:    "--course %s",
	seatrial.TakeRudder:    "--rudder %s",
	seatrial.SayPilot:      "--pilot",

	readiness.PlanIt:        "cardwright plan %s",
	readiness.SurveyIt:      "cardwright survey %s",
	readiness.FetchList:     "cardwright package fetch-list %s",
	readiness.TakeInAs:      "cardwright package add FILE --model %s --version %s",
	readiness.TakeInVariant: "cardwright package add FILE --model %s --version %s --variant %s",
}

// seaTrialCommand is what a sheet names for the check of heading against course.
const seaTrialCommand = "cardwright seatrial"
