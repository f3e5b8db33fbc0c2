// Command demo makes the demo shop.
//
//	go run ./testdata/demo DIR        writes the shop, its package files and a log of Kittiwake's sea trial
//	go run ./testdata/demo -digests   prints what the catalogue must say
package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest"
	"cardwright/testdata/demo/packages"
	"cardwright/verify/seatrial/simulate"
)

func main() {
	digests := flag.Bool("digests", false, "print size, SHA-256 and path of every package file")
	flag.Parse()
	var err error
	switch {
	case *digests && flag.NArg() == 0:
		err = printDigests()
	case !*digests && flag.NArg() == 1:
		err = errors.Join(packages.Write(flag.Arg(0)), writeTrial(filepath.Join(flag.Arg(0), "kittiwake-trial.log")))
	default:
		fmt.Fprintln(os.Stderr, "usage: demo DIR | demo -digests")
		os.Exit(2)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// writeTrial writes what Kittiwake's instruments said on her sea trial: the eight
// headings twice, at 6 knots, in half a knot of current. No such boat went out.
func writeTrial(file string) error {
	boat := simulate.Boat{
		Deviation: [5]float64{.5, 1, -.7, .4, .2}, Variation: -1.4, Speed: 6, Current: [2]float64{-.17, -.47},
		Latitude: 50.24, Longitude: -4.11, Start: time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC), Seed: 40,
		HeadNoise: 0.7, HeadMemory: 0.8, SpeedNoise: 0.1, Weave: 1.2, Period: 18, Rudder: math.NaN(),
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	const seconds = 150
	return errors.Join(boat.Write(f, simulate.Legs(seconds, simulate.Points(2)...)), f.Close())
}

func printDigests() error {
	dir, err := os.MkdirTemp("", "demo-shop-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := packages.Copy(dir); err != nil {
		return err
	}
	shop, err := manifest.Load(dir)
	if err != nil {
		return err
	}
	for _, p := range packages.Packages(shop) {
		all, err := p.Digests()
		if err != nil {
			return err
		}
		for _, d := range all {
			fmt.Printf("%s %d %s\n", d.SHA256, d.Size, d.Path)
		}
	}
	return nil
}
