// Command bench measures cardwright beside public tools and plain copies of
// the same bytes, all in one run, and prints a table. Linux only.
//
//	go run ./testdata/bench [-quick] [-runs 5] [-only WORD] [-memory DIR] [-disk DIR]
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
)

// options are what a run is asked for.
type options struct {
	quick        bool
	runs         int
	only         string
	memory, disk string
	cardwright   string // the program to measure
}

// sizes are what is measured.
type sizes struct {
	big       int64 // bytes in bigFiles files
	bigFiles  int
	small     int   // files of 16 KiB
	throttled int64 // bytes for cards that are slowed down
}

var (
	full  = sizes{big: 4 << 30, bigFiles: 8, small: 5000, throttled: 128 << 20}
	quick = sizes{big: 512 << 20, bigFiles: 8, small: 1000, throttled: 16 << 20}
)

func main() {
	if len(os.Args) > 2 && os.Args[1] == "side" {
		fail(runSide(os.Args[2], os.Args[3:]))
		return
	}
	if len(os.Args) > 1 && os.Args[1] == "ledger" {
		fail(runLedger(os.Args[2:]))
		return
	}
	o := options{cardwright: "bin/cardwright"}
	flag.BoolVar(&o.quick, "quick", false, "small sizes, for a first look")
	flag.IntVar(&o.runs, "runs", 5, "how often each side runs")
	flag.StringVar(&o.only, "only", "", "only what has this word in its name")
	flag.StringVar(&o.memory, "memory", "/dev/shm", "folder on tmpfs; takes 9 GiB")
	flag.StringVar(&o.disk, "disk", os.TempDir(), "folder on a disk; takes 9 GiB")
	flag.StringVar(&o.cardwright, "cardwright", o.cardwright, "the program to measure")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	fail(run(ctx, o))
}

func fail(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// run makes the packages, measures, prints, and removes what it made.
func run(ctx context.Context, o options) (err error) {
	var b bench
	if b, err = newBench(o); err != nil {
		return err
	}
	defer b.remove()
	before := machine(b.places)
	for _, c := range b.contests() {
		if !strings.Contains(c.what, o.only) {
			continue
		}
		if err := b.measure(ctx, c); err != nil {
			return err
		}
	}
	b.print(os.Stdout, before)
	return nil
}

// place is a folder that is measured in.
type place struct {
	name string // as the table has it
	dir  string
	disk bool
}

// bench is one run of everything.
type bench struct {
	options
	sizes
	places  []place
	big     shop
	small   shop
	slow    shop
	lines   []line
	facts   []fact
	program string // this one
}

func newBench(o options) (bench, error) {
	b := bench{options: o, sizes: full}
	if o.quick {
		b.sizes = quick
	}
	var err error
	if b.cardwright, err = filepath.Abs(o.cardwright); err != nil {
		return b, err
	}
	if b.program, err = os.Executable(); err != nil {
		return b, err
	}
	for _, p := range []place{{name: "tmpfs", dir: o.memory}, {name: "disk", dir: o.disk, disk: true}} {
		if p.dir, err = os.MkdirTemp(p.dir, "cardwright-bench-"); err != nil {
			b.remove()
			return b, err
		}
		b.places = append(b.places, p)
	}
	if err := b.shops(filepath.Join(b.places[0].dir, "shops")); err != nil {
		b.remove()
		return b, fmt.Errorf("making the packages: %w", err)
	}
	return b, nil
}

func (b *bench) remove() {
	for _, p := range b.places {
		if err := os.RemoveAll(p.dir); err != nil {
			fmt.Fprintln(os.Stderr, "bench: removing what was made:", err)
		}
	}
}

// shops makes the packages on tmpfs, so that reading them costs each side the
// same.
func (b *bench) shops(dir string) error {
	var err error
	each := int(b.sizes.big / int64(b.bigFiles))
	if b.big, err = makeShop(filepath.Join(dir, "big"), "8GB", 1, b.bigFiles, each); err != nil {
		return err
	}
	if b.small, err = makeShop(filepath.Join(dir, "small"), "8GB", 4, b.sizes.small/4, 16<<10); err != nil {
		return err
	}
	b.slow, err = makeShop(filepath.Join(dir, "slow"), "4GB", 1, 4, int(b.throttled/4))
	return err
}
