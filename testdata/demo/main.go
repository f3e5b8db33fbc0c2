// Command demo makes the demo shop.
//
//	go run ./testdata/demo DIR        writes the shop and its package files
//	go run ./testdata/demo -digests   prints what the catalogue must say
package main

import (
	"flag"
	"fmt"
	"os"

	"cardwright/manifest"
	"cardwright/testdata/demo/packages"
)

func main() {
	digests := flag.Bool("digests", false, "print size, SHA-256 and path of every package file")
	flag.Parse()
	var err error
	switch {
	case *digests && flag.NArg() == 0:
		err = printDigests()
	case !*digests && flag.NArg() == 1:
		err = packages.Write(flag.Arg(0))
	default:
		fmt.Fprintln(os.Stderr, "usage: demo DIR | demo -digests")
		os.Exit(2)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
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
