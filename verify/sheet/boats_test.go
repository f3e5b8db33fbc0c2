package sheet_test

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/testdata"
	"cardwright/verify"
	"cardwright/verify/sheet"
)

// The invented shop, its boats and their plans, as the planner and the layout
// would give them.

var (
	yes, no = true, false
	cards   = &manifest.CardRules{Least: 4e9, Most: 32e9, FileSystems: []string{"fat32"}, Slot: "microSD", Folder: manifest.AnyFolder}
	atPower = &manifest.CardRules{Least: 4e9, Most: 32e9, FileSystems: []string{"fat32"}, Slot: "microSD", Folder: "/", AtPowerUp: true}
	day     = time.Date(2026, time.March, 14, 9, 30, 0, 0, time.FixedZone("", 3600))
)

func shop() *manifest.Shop {
	return &manifest.Shop{
		Name: "Hollin Quay Marine Electrics", Call: "the shop's bench, 01 555 0142, Monday to Saturday",
		Models: []*manifest.Model{
			{
				ID: "fennick-plot-12", Maker: "Fennick", Name: "Plot 12 chart display", Kind: "chart display", Card: cards,
				PassesOn: []string{"fennick-sweep-2", "solveld-course-3"},
				Releases: []*manifest.Release{
					{Version: "3.1-40"},
					{Version: "4.0-12", Minutes: 20, WayBack: &no, Settings: manifest.SettingsKept, After: []string{"version shown", "settings and waypoints", "heading against course"}},
				},
				VersionShown: "Home, Set-up, About",
				Install:      "Home, Files, open the folder, tap the file, Install, confirm.",
				Restarts:     "twice, dark for up to two minutes each time",
				IfItFails:    "hold the power key for 15 seconds, start again with the card in, and install again; twice at most",
			},
			{
				ID: "fennick-sweep-2", Maker: "Fennick", Name: "Sweep 2 radar", Kind: "radar",
				Releases: []*manifest.Release{
					{Version: "1.6", Withdrawn: "rain clutter left on after standby"},
					{Version: "1.10", Minutes: 15, WayBack: &yes, Settings: manifest.SettingsKept},
				},
			},
			{
				ID: "solveld-course-3", Maker: "Solveld", Name: "Course 3 autopilot computer", Kind: "autopilot computer",
				Releases: []*manifest.Release{{Version: "2.6"}, {Version: "3.0", Minutes: 10, Settings: manifest.SettingsLost}},
				Checks:   []*manifest.CheckText{{Check: "dockside set-up", Text: "Set-up, Dockside, all seven pages; drive type and rudder limits as on page 31 of its instructions."}},
			},
			{
				ID: "fennick-plot-9", Maker: "Fennick", Name: "Plot 9 chart display", Kind: "chart display", Card: atPower,
				Releases: []*manifest.Release{{Version: "1.9"}, {Version: "2.0~rc1", Minutes: 0}},
			},
			{ID: "fennick-sound-2", Maker: "Fennick", Name: "Sound 2 sounder", Kind: "sounder"},
			{ID: "solveld-fix-2", Maker: "Solveld", Name: "Fix 2 heading sensor", Kind: "heading sensor"},
			{ID: "solveld-beacon-1", Maker: "Solveld", Name: "Beacon 1 AIS transponder", Kind: "transponder"},
		},
	}
}

func file(name string, size int64) []digest.File {
	return []digest.File{{Name: name, Size: size, SHA256: digest.SHA256(strings.Repeat("0f", 32))}}
}

// kittiwake has three devices: a display with a slot, a radar and an autopilot
// computer updated through it.
func kittiwake() sheet.Input {
	return sheet.Input{
		Shop: shop(),
		Vessel: &manifest.Vessel{
			ID: "kittiwake", Name: "Kittiwake", Berth: "Hollin Quay, C 14", Supply: "12V",
			Identity: manifest.Identity{Hull: "HQ 214"},
			Devices: []*manifest.Device{
				{ID: "flybridge", Model: "fennick-plot-12", Serial: "F12-00231", Place: "flybridge", Version: "3.1-40"},
				{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-1107", Place: "mast", Version: "1.6", Through: []string{"flybridge"}},
				{ID: "pilot", Model: "solveld-course-3", Place: "lazarette", Version: "2.6", Through: []string{"flybridge"}},
			},
		},
		Plan: order.Plan{
			Format: order.Format, Vessel: "kittiwake",
			Steps: []order.Step{
				{
					Number: 1, Device: "flybridge", Model: "fennick-plot-12", From: "3.1-40", To: "4.0-12",
					Card: 1, Folder: "01-flybridge", Files: file("plot12-4.0-12.upd", 412345678), Minutes: 20,
				},
				{
					Number: 2, Device: "radar", Model: "fennick-sweep-2", From: "1.6", To: "1.10", Through: "flybridge",
					Card: 1, Folder: "02-radar", Files: file("sweep2 1.10.upd", 98765432), Minutes: 15,
				},
				{
					Number: 3, Device: "pilot", Model: "solveld-course-3", From: "2.6", To: "3.0", Through: "flybridge",
					Card: 1, Folder: "03-pilot", Files: file("course3-3.0.upd", 4200000), Minutes: 10,
				},
			},
			OutOfService: []order.OutOfService{{Device: "radar", FromStep: 1, ToStep: 2}},
			Cards:        []order.Card{{Number: 1, Bytes: 515311110, Needed: 3680000000, Devices: []string{"flybridge", "radar", "pilot"}}},
			Notes:        []string{"the catalogue knows no release of the radar newer than 1.10"},
			Time:         order.Time{Steps: 45, Checks: 52, Settings: 10},
		},
		When: day, Technician: "T. Arkwright",
	}
}

// good is card number as it was verified.
func good(number, of int) sheet.CardState {
	return sheet.CardState{
		Number: number, Of: of, Label: "KITTIWAKE", VolumeID: "3A5C-19F2",
		Digest: fmt.Sprintf("%x", sha256.Sum256([]byte{byte(number)})), Record: "rec-2026-03-14-0007",
		Verdict: verify.Good, When: day, Bytes: 3963617280, Used: 541065216,
	}
}

// provenKittiwake is the same after prepare.
func provenKittiwake() sheet.Input {
	in := kittiwake()
	in.Cards = []sheet.CardState{good(1, 1)}
	return in
}

// morvenRose has 40 devices; its packages need three cards, and some displays
// install at power-up.
func morvenRose() sheet.Input {
	v := &manifest.Vessel{ID: "morven-rose", Name: "Morven Rose", Berth: "Hollin Quay, yard, hard standing 3", Supply: "24V"}
	plan := order.Plan{
		Format: order.Format, Vessel: v.ID, OutOfService: []order.OutOfService{{Device: "radar-2", FromStep: 2, ToStep: 9}},
		Time: order.Time{Steps: 340, Checks: 60, Missing: []string{"helm-3: installing 4.0-12", "helm-3: depth shown", "radar-2: radar picture", "ais: targets shown"}},
	}
	add := func(n int, kind, model, place string, from version.V, through ...string) {
		for i := range n {
			v.Devices = append(v.Devices, &manifest.Device{
				ID: fmt.Sprintf("%s-%d", kind, i+1), Model: model, Serial: fmt.Sprintf("%s-%05d", strings.ToUpper(kind[:2]), 100+i),
				Place: fmt.Sprintf("%s %d", place, i+1), Version: from, Through: through,
			})
		}
	}
	add(12, "display", "fennick-plot-12", "helm", "3.1-40")
	add(6, "small", "fennick-plot-9", "cabin", "1.9")
	add(4, "radar", "fennick-sweep-2", "mast", "1.6", "display-1", "display-2")
	add(4, "pilot", "solveld-course-3", "steering flat", "2.6", "display-3")
	add(6, "sounder", "fennick-sound-2", "frame", version.Unknown)
	add(4, "heading", "solveld-fix-2", "coachroof", "1.1")
	add(4, "ais", "solveld-beacon-1", "chart table", "1.4.2")
	to := map[string]struct {
		version version.V
		minutes int
		card    int
		size    int64
	}{
		"fennick-plot-12":  {"4.0-12", 20, 1, 412345678},
		"fennick-sweep-2":  {"1.10", 15, 1, 98765432},
		"solveld-course-3": {"3.0", 10, 2, 4200000},
		"fennick-plot-9":   {"2.0~rc1", 0, 3, 350000000},
	}
	for card := 1; card <= 3; card++ {
		on := order.Card{Number: card, Needed: 3680000000}
		for _, d := range v.Devices {
			target, known := to[d.Model]
			if !known || target.card != card {
				continue
			}
			step := order.Step{
				Number: len(plan.Steps) + 1, Device: d.ID, Model: d.Model, From: d.Version, To: target.version, Card: card,
				Minutes: target.minutes, Files: file(strings.TrimPrefix(strings.TrimPrefix(d.Model, "fennick-"), "solveld-")+"-"+string(target.version)+".upd", target.size),
			}
			if card != 3 {
				step.Folder = fmt.Sprintf("%02d-%s", step.Number, d.ID)
			}
			if len(d.Through) > 0 {
				step.Through = d.Through[0]
			}
			plan.Steps = append(plan.Steps, step)
			on.Devices = append(on.Devices, d.ID)
			on.Bytes += target.size
		}
		plan.Cards = append(plan.Cards, on)
	}
	return sheet.Input{Shop: shop(), Vessel: v, Plan: plan, When: day}
}

func provenMorvenRose() sheet.Input {
	in := morvenRose()
	in.Cards = []sheet.CardState{good(1, 3), good(2, 3), good(3, 3)}
	for i := range in.Cards {
		in.Cards[i].Label, in.Cards[i].Used = "MORVEN ROSE", in.Plan.Cards[i].Bytes
		in.Cards[i].Bytes = 7948206080 // a nominal 8 GB card as measured
	}
	return in
}

// hostile has names that try to run, to turn the line round and to overflow.
func hostile() sheet.Input {
	in := provenKittiwake()
	in.Vessel.Name = `<script>alert("boat")</script>` + "\u202eetik"
	in.Vessel.Berth = `"><img src=x onerror=alert(1)>` + "\x1b[2J"
	in.Vessel.Devices[0].Place = "{vessel} </textarea>" + "\u200b"
	in.Plan.Steps[0].Files[0].Name = "a  b" + strings.Repeat("very-long-name-", 14) + "'><script>alert(2)</script>.upd"
	in.Plan.Steps[0].To = version.V("9" + strings.Repeat(".10", 21))
	in.Plan.Notes = []string{"</script><script>alert(3)</script>\xff"}
	in.Technician = "O'Neil & <b>Sons</b>\r\n*** GOOD ***"
	return in
}

// demo is a vessel of the demo shop with her cards proven, planned for some of
// her devices or for all.
func demo(t *testing.T, id string, only ...string) sheet.Input {
	t.Helper()
	dir := t.TempDir()
	files, err := fs.Sub(testdata.Shop, "shop")
	require.NoError(t, err)
	require.NoError(t, os.CopyFS(dir, files))
	s, err := manifest.Load(dir)
	require.NoError(t, err)
	vessel := s.Vessel(id)
	plan, err := order.WhatIf(s, vessel, order.Ask{Only: only})
	require.NoError(t, err)
	_, plan, err = media.Lay(s, vessel, plan)
	require.NoError(t, err)
	in := sheet.Input{Shop: s, Vessel: vessel, Plan: plan, When: day}
	for i, c := range plan.Cards {
		state := good(i+1, len(plan.Cards))
		state.Label, state.Record, state.Used = strings.ToUpper(vessel.Name)[:min(11, len(vessel.Name))], "", c.Bytes
		in.Cards = append(in.Cards, state)
	}
	return in
}
