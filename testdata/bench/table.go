package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"
)

// print prints the table, what was counted and the machine, in 80 columns.
func (b *bench) print(w io.Writer, before string) {
	fmt.Fprintf(w, "Medians of %d runs. ratio: median of ours/theirs, pair by pair; spread: least\n", b.runs)
	fmt.Fprintf(w, "and most of it. Payload: %.1f GiB in %d files where nothing else is said.\n", float64(b.big.bytes)/(1<<30), b.big.count)
	where := ""
	for _, l := range b.lines {
		if l.where != where {
			where = l.where
			fmt.Fprintf(w, "\n%-23s%-20s%6s%7s%6s%11s%6s\n", "on "+where, "beside", "ours", "theirs", "ratio", "spread", "limit")
		}
		fmt.Fprintln(w, l)
	}
	fmt.Fprintln(w)
	for _, f := range b.facts {
		fmt.Fprintf(w, "%s %-36s %s\n", mark(f.met), f.what, f.found)
	}
	met, asked := b.kept()
	fmt.Fprintf(w, "\n%s\nload at the end %s\n\n%d of %d limits kept.\n", before, load(), met, asked)
}

func (b *bench) kept() (met, asked int) {
	count := func(kept bool) {
		asked++
		if kept {
			met++
		}
	}
	for _, l := range b.lines {
		if l.most > 0 {
			count(l.met())
		}
	}
	for _, f := range b.facts {
		count(f.met)
	}
	return met, asked
}

func (l line) met() bool { return median(l.ratios) <= l.most }

func (l line) String() string {
	spread := fmt.Sprintf("%.2f-%.2f", l.ratios[0], l.ratios[len(l.ratios)-1])
	limit := ""
	if l.most > 0 {
		limit = fmt.Sprintf("%6.2f %s", l.most, mark(l.met()))
	}
	return fmt.Sprintf("%-23s%-20s%6s%7s%6.2f%11s%s", l.what, l.rival, seconds(l.ours), seconds(l.theirs), median(l.ratios), spread, limit)
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.2fs", d.Seconds()) }

func mark(met bool) string {
	if met {
		return "✓"
	}
	return "✗"
}

// machine says what was measured on.
func machine(places []place) string {
	out := &strings.Builder{}
	fmt.Fprintf(out, "%s, %d of its processors, %s, load %s\n", processor(), runtime.NumCPU(), runtime.Version(), load())
	for _, p := range places {
		fmt.Fprintf(out, "%s: %s\n", p.name, firstLine("findmnt", "-no", "SOURCE,FSTYPE,OPTIONS", "-T", p.dir))
	}
	for _, tool := range [][]string{{"mcopy", "--version"}, {"sha256sum", "--version"}, {"openssl", "version"}} {
		fmt.Fprintln(out, firstLine(tool[0], tool[1:]...))
	}
	return strings.TrimSuffix(out.String(), "\n")
}

func firstLine(name string, args ...string) string {
	text, err := exec.Command(name, args...).Output()
	if err != nil {
		return fmt.Sprintf("%s: %v", name, err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	if len(line) > 78 {
		line = line[:78]
	}
	return line
}

func processor() string {
	text, _ := os.ReadFile("/proc/cpuinfo")
	for l := range strings.Lines(string(text)) {
		if name, ok := strings.CutPrefix(l, "model name\t: "); ok {
			return strings.TrimSpace(name)
		}
	}
	return runtime.GOARCH
}

// load is how many processes wanted to run over the last minute, on average.
func load() string {
	text, _ := os.ReadFile("/proc/loadavg")
	first, _, _ := strings.Cut(string(text), " ")
	return first
}
