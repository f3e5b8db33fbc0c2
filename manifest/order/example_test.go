package order

import (
	"fmt"
	"strings"

	"cardwright/manifest/version"
)

// The worked examples. Each is a shop and a vessel on a few lines (see scene in
// scene_test.go for the notation), and what is planned for it by the rules of
// the package's documentation.

// planned writes out what is planned.
func planned(text string) {
	plan, err := Make(scene(text))
	printPlan(plan, err)
}

func printPlan(plan Plan, err error) {
	switch {
	case err != nil:
		fmt.Println(err)
	case plan.Conflict != nil:
		printConflict(plan.Conflict)
	case len(plan.Steps) == 0:
		fmt.Println("nothing to do")
	}
	for _, s := range plan.Steps {
		fmt.Printf("%d. %s %s → %s", s.Number, s.Device, s.From, s.To)
		if s.Through != "" {
			fmt.Print(" through ", s.Through)
		}
		fmt.Println()
	}
	for _, o := range plan.OutOfService {
		fmt.Printf("%s is out of service from step %d to step %d\n", o.Device, o.FromStep, o.ToStep)
	}
	for _, n := range plan.Notes {
		fmt.Println("note:", n)
	}
}

func printConflict(c *Conflict) {
	fmt.Println("no safe order, because")
	for _, f := range c.Because {
		fmt.Printf("- %s (%s)\n", f.Fact, f.At)
	}
	fmt.Println("would free it:")
	for _, w := range c.WouldFree {
		fmt.Println("-", w)
	}
}

// A display's new release wants a newer radar before it is installed.
func ExampleMake_newerRadarFirst() {
	planned(`
		model fennick-plot-12 card
		3.1
		4.0 needs[fennick-sweep-2 >= 1.8 by start]
		model fennick-sweep-2 card
		1.6
		1.8
		device helm fennick-plot-12 3.1
		device radar fennick-sweep-2 1.6`)
	// Output:
	// 1. radar 1.6 → 1.8
	// 2. helm 3.1 → 4.0
}

// A display's new release wants a newer radar by the end; the radar's goes
// through a display that runs it. Meanwhile the radar is out.
func ExampleMake_newerRadarAfterwards() {
	planned(`
		model fennick-plot-12 card passes[fennick-sweep-2]
		3.1
		4.0 needs[fennick-sweep-2 >= 1.8 by end]
		model fennick-sweep-2
		1.6
		1.8 passed[>= 4.0]
		device helm fennick-plot-12 3.1
		device radar fennick-sweep-2 1.6 through[helm]`)
	// Output:
	// 1. helm 3.1 → 4.0
	// 2. radar 1.6 → 1.8 through helm
	// radar is out of service from step 1 to step 2
}

// A stepping stone: 4.0 can't be installed over 2.0.
func ExampleMake_steppingStone() {
	planned(`
		model fennick-plot-9 card
		2.0
		3.0
		3.4
		4.0 over[>= 3.4]
		device helm fennick-plot-9 2.0`)
	// Output:
	// 1. helm 2.0 → 3.4
	// 2. helm 3.4 → 4.0
}

// Two displays must match, and one of them can't have the newest.
func ExampleMake_alike() {
	planned(`
		model fennick-plot-12 card alike
		3.1
		3.5
		4.0
		device flybridge fennick-plot-12 3.1
		device helm fennick-plot-12 3.1 hold[< 4]`)
	// Output:
	// 1. flybridge 3.1 → 3.5
	// 2. helm 3.1 → 3.5
	// note: flybridge ends on 3.5, not on 4.0, the newest
	// note: helm ends on 3.5, not on 4.0, the newest
}

// Only the old display can pass the radar's release on, so that the radar goes
// first, although it comes later in the file.
func ExampleMake_onlyTheOldDisplay() {
	planned(`
		model fennick-plot-12 card passes[fennick-sweep-2]
		3.1
		4.0
		model fennick-sweep-2
		1.6
		1.8 passed[< 4]
		device helm fennick-plot-12 3.1
		device radar fennick-sweep-2 1.6 through[helm]`)
	// Output:
	// 1. radar 1.6 → 1.8 through helm
	// 2. helm 3.1 → 4.0
}

// The newest two don't go together: the display is the one that counts.
func ExampleMake_upperBound() {
	planned(`
		model fennick-sweep-2 card
		1.6
		1.8
		5.0
		model fennick-plot-12 card kind[chart display]
		3.1
		4.0 needs[fennick-sweep-2 < 5 by end]
		device radar fennick-sweep-2 1.6
		device helm fennick-plot-12 3.1`)
	// Output:
	// 1. radar 1.6 → 1.8
	// 2. helm 3.1 → 4.0
	// note: radar ends on 1.8, not on 5.0, the newest
}

// A true deadlock: each wants the other first. What is installed fits, so that
// nothing is to be done; that the display can't have 4.0 is what Why tells.
func ExampleWhy_deadlock() {
	shop, vessel := scene(`
		model fennick-plot-12 card passes[fennick-sweep-2]
		3.1
		4.0 needs[fennick-sweep-2 >= 1.8 by start]
		model fennick-sweep-2
		1.6
		1.8 passed[>= 4.0]
		device helm fennick-plot-12 3.1
		device radar fennick-sweep-2 1.6 through[helm]`)
	printPlan(Make(shop, vessel))
	reason, err := Why(shop, vessel, Ask{}, "helm")
	fmt.Println(err, reason.Ends)
	for _, n := range reason.Newer {
		fmt.Println("not", n.Version, "because")
		for _, f := range n.Because {
			fmt.Printf("- %s (%s)\n", f.Fact, f.At)
		}
		fmt.Println("a circle:", strings.Join(n.Circle, " → "))
	}
	// Output:
	// nothing to do
	// note: helm ends on 3.1, not on 4.0, the newest
	// note: radar ends on 1.6, not on 1.8, the newest
	// <nil> 3.1
	// not 4.0 because
	// - fennick-plot-12 4.0 needs fennick-sweep-2 >= 1.8 before it is installed (scene:4:1)
	// - fennick-sweep-2 1.8 can only be passed on by a device that runs >= 4.0 (scene:7)
	// - radar is updated through helm (scene:9)
	// - helm runs fennick-plot-12 3.1 (scene:8)
	// - radar runs fennick-sweep-2 1.6 (scene:9)
	// - of fennick-sweep-2 the catalogue has only 1.6, 1.8 (scene:5)
	// a circle: fennick-plot-12 4.0 → fennick-sweep-2 1.8 → fennick-plot-12 4.0
}

// A customer's hold, against what is already installed.
func ExampleMake_hold() {
	planned(`
		model fennick-plot-12 card
		4.0 needs[fennick-sweep-2 >= 1.8 by end]
		model fennick-sweep-2 card
		1.6
		1.8
		device helm fennick-plot-12 4.0
		device radar fennick-sweep-2 1.6 hold[= 1.6]`)
	// Output:
	// no safe order, because
	// - radar is held to = 1.6 (scene:8)
	// - fennick-plot-12 4.0 needs fennick-sweep-2 >= 1.8 when the visit ends (scene:3:1)
	// - helm runs fennick-plot-12 4.0 (scene:7)
	// - of fennick-plot-12 the catalogue has only 4.0 (scene:2)
	// would free it:
	// - lift the hold on radar (scene:8)
	// - exchange helm for one that runs a version after 4.0
	// - add to the catalogue a release of fennick-plot-12 that fits, a version after 4.0
	// note: helm is out of service already: what is installed aboard doesn't fit together
}

// The customer wants just the radar done, and then asks for the display too.
func ExampleWhatIf() {
	shop, vessel := scene(`
		model fennick-plot-12 card
		3.1
		4.0 needs[fennick-sweep-2 >= 1.8 by end]
		model fennick-sweep-2 card
		1.6
		1.8
		1.9
		device helm fennick-plot-12 3.1
		device radar fennick-sweep-2 1.6`)
	printPlan(WhatIf(shop, vessel, Ask{Only: []string{"radar"}}))
	printPlan(WhatIf(shop, vessel, Ask{Aim: map[string]version.V{"fennick-sweep-2": "1.8"}}))
	printPlan(WhatIf(shop, vessel, Ask{Aim: map[string]version.V{"fennick-plot-12": "4.0"}, Hold: []string{"radar"}}))
	// Output:
	// 1. radar 1.6 → 1.9
	// 1. radar 1.6 → 1.8
	// 2. helm 3.1 → 4.0
	// note: radar ends on 1.8, not on 1.9, the newest
	// no safe order, because
	// - asked: fennick-plot-12 ends on 4.0 ()
	// - asked: radar is left alone ()
	// - fennick-plot-12 4.0 needs fennick-sweep-2 >= 1.8 when the visit ends (scene:4:1)
	// - radar runs fennick-sweep-2 1.6 (scene:10)
	// would free it:
	// - drop the aim for fennick-plot-12 to run 4.0
	// - let radar be updated
	// - exchange radar for one that runs 1.9
}

// A version that nobody has read yet.
func ExampleMake_unknownVersion() {
	plan, err := Make(scene(`
		model fennick-plot-9 card
		2.0
		3.4
		4.0 over[>= 3.4]
		device helm fennick-plot-9 unknown`))
	fmt.Println(err)
	for _, a := range plan.Answers {
		fmt.Printf("%s %v: %d steps\n", plan.Unknown[0].Device, a.Found, len(a.Then.Steps))
	}
	// Output:
	// version unknown: read it off the device and write it down for helm (scene:6)
	// helm [2.0]: 2 steps
	// helm [3.4]: 1 steps
	// helm [4.0]: 0 steps
}

// A release that could be had, at a price.
func ExampleWhy_price() {
	shop, vessel := scene(`
		model solveld-course-3 card
		5.0
		5.2 needs[solveld-fix-2 < 2 by end]
		model solveld-fix-2 card
		1.9
		2.0
		2.1
		device pilot solveld-course-3 5.0
		device heading solveld-fix-2 1.9`)
	reason, err := Why(shop, vessel, Ask{}, "pilot")
	fmt.Println(err, reason.Ends)
	fmt.Println("not", reason.Newer[0].Version, "since", reason.Newer[0].Instead)
	fmt.Println(strings.Split(reason.Preference, ":")[0])
	// Output:
	// <nil> 5.0
	// not 5.2 since heading would end on 1.9, not 2.1: 2 releases behind in all, not 1
	// Of all releases that fit one another and that a safe order leads to
}
