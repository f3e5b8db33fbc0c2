package export

import (
	"bufio"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
)

//go:embed page.css
var pageCSS string

//go:embed page.js
var pageJS string

//go:embed page.html
var pageHTML string

var page = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Funcs(template.FuncMap{
		"day": func(t time.Time) string { return day(t) },
	}).Parse(pageHTML))
})

// MaxLines is how many lines of histories one page holds: more would not help
// anybody, and few browsers.
const MaxLines = 50_000

// ErrTooLong says that a page would hold more than MaxLines.
var ErrTooLong = errors.New("more events than a page can show: narrow the dates, the berth or the maker")

// Histories gives the history of a vessel, as audit.OfVessel does.
type Histories func(vessel string) (audit.History, error)

// HTML writes one page that needs nothing but itself: the matrix of vessels
// and models, to sort by any column, how the fleet got there, and each vessel's
// history on a line of time. It runs no script but its own, and asks no network.
//
// After an error, what was written is not a whole page.
func HTML(w io.Writer, about About, fleet audit.Fleet, stood []audit.Stood, histories Histories) error {
	out := bufio.NewWriter(w)
	err := writePage(out, about, fleet, stood, histories)
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return fmt.Errorf("writing page: %w", err)
	}
	return nil
}

func writePage(out io.Writer, about About, fleet audit.Fleet, stood []audit.Stood, histories Histories) error {
	head := map[string]any{
		"Shop": about.Shop, "Ledger": about.Ledger, "Made": about.Made, "CSS": template.CSS(pageCSS), "JS": template.JS(pageJS),
		"Policy": policy, "Fleet": fleet, "Rows": matrix(fleet), "Counts": counts(fleet), "Over": over(stood), "Statuses": audit.Statuses,
	}
	if err := page().ExecuteTemplate(out, "head", head); err != nil {
		return err
	}
	lines := 0
	for i, row := range fleet.Vessels {
		h, err := histories(row.Vessel.ID)
		if err != nil {
			return err
		}
		if lines += len(h.Lines); lines > MaxLines {
			return ErrTooLong
		}
		if err := page().ExecuteTemplate(out, "vessel", vesselOf(i, h)); err != nil {
			return err
		}
	}
	return page().ExecuteTemplate(out, "tail", head)
}

// policy lets the page's own style and script run and nothing else.
var policy = fmt.Sprintf("default-src 'none'; style-src '%s'; script-src '%s'; base-uri 'none'; form-action 'none'", hashOf(pageCSS), hashOf(pageJS))

func hashOf(s string) string {
	sum := sha256.Sum256([]byte(s))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

func day(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return t.Format("2006-01-02")
}

// signs go with the words, so that nobody depends on colour.
var signs = map[audit.Status]string{
	audit.StatusWithdrawn: "✕", audit.StatusDisputed: "≠", audit.StatusUnknown: "?",
	audit.StatusBehind: "▼", audit.StatusUnlisted: "·", audit.StatusCurrent: "✓",
}

// countedStatus is how many devices stand so, and its part of the bar that shows
// how the fleet stands, in percent of its width.
type countedStatus struct {
	Status     audit.Status
	Sign       string
	N          int
	From, Wide float64
}

func counts(fleet audit.Fleet) (list []countedStatus) {
	total := 0
	for _, n := range fleet.Counts {
		total += n
	}
	at := 0.0
	for _, s := range audit.Statuses {
		c := countedStatus{Status: s, Sign: signs[s], N: fleet.Counts[s], From: at}
		if total > 0 {
			c.Wide = 100 * float64(c.N) / float64(total)
		}
		at += c.Wide
		list = append(list, c)
	}
	return list
}

// matrixRow is one vessel: a cell for each of the fleet's models.
type matrixRow struct {
	Anchor string
	Vessel audit.Vessel
	Last   time.Time
	Worst  audit.Status
	Sign   string
	Rank   int // of Worst
	Cells  []matrixCell
}

// matrixCell holds the devices of one model. Rank sorts: by the oldest
// version in the cell, unknown before all, an empty cell after all.
type matrixCell struct {
	Model   string
	Rank    int
	Devices []matrixDevice
}

type matrixDevice struct {
	audit.Standing
	Sign string
	Word string
}

func matrix(fleet audit.Fleet) []matrixRow {
	ranks := versionRanks(fleet)
	rows := make([]matrixRow, len(fleet.Vessels))
	for i, v := range fleet.Vessels {
		row := matrixRow{
			Anchor: anchor(i), Vessel: v.Vessel, Last: v.Last, Worst: v.Worst, Sign: signs[v.Worst],
			Rank: rankOf(v.Worst), Cells: make([]matrixCell, len(fleet.Models)),
		}
		for c, model := range fleet.Models {
			row.Cells[c] = cell(v.Devices, model, ranks)
		}
		rows[i] = row
	}
	slices.SortStableFunc(rows, func(a, b matrixRow) int { return a.Rank - b.Rank }) // the worst first
	return rows
}

// rankOf is a status' place among them, the worst first; a vessel without devices
// comes last.
func rankOf(s audit.Status) int {
	if i := slices.Index(audit.Statuses, s); i >= 0 {
		return i
	}
	return len(audit.Statuses)
}

func anchor(i int) string { return fmt.Sprintf("vessel-%d", i+1) }

func cell(devices []audit.Standing, model string, ranks map[string]map[version.V]int) matrixCell {
	c := matrixCell{Model: model, Rank: len(ranks[model]) + 1}
	for _, d := range devices {
		if d.Model != model {
			continue
		}
		c.Devices = append(c.Devices, matrixDevice{d, signs[d.Status], word(d)})
		rank := 0
		if !d.Unknown() {
			rank = ranks[model][d.Version]
		}
		c.Rank = min(c.Rank, rank)
	}
	return c
}

// word says how a device stands.
func word(d audit.Standing) string {
	switch d.Status {
	case audit.StatusBehind:
		return fmt.Sprintf("behind by %d", d.Behind)
	case audit.StatusDisputed:
		return "another says " + string(d.Other)
	}
	return string(d.Status)
}

// versionRanks gives every version of a model in the fleet its place, from 1.
func versionRanks(fleet audit.Fleet) map[string]map[version.V]int {
	lists := map[string][]version.V{}
	for _, v := range fleet.Vessels {
		for _, d := range v.Devices {
			if !d.Unknown() {
				lists[d.Model] = append(lists[d.Model], d.Version)
			}
		}
	}
	ranks := map[string]map[version.V]int{}
	for model, list := range lists {
		slices.SortFunc(list, version.Compare)
		ranks[model] = map[version.V]int{}
		for i, v := range list {
			if i == 0 || version.Compare(list[i-1], v) != 0 {
				ranks[model][v] = len(ranks[model]) + 1
			} else {
				ranks[model][v] = ranks[model][list[i-1]]
			}
		}
	}
	return ranks
}

// pageVessel is a vessel's part of the page.
type pageVessel struct {
	Anchor         string
	H              audit.History
	Lines          []pageLine
	From, To       time.Time
	Contradictions []string
}

type pageLine struct {
	audit.Line
	Told  string
	Words []pageWord
	X     float64 // along the line of time, percent of its width, from stripLeft to stripRight
	Mark  string
}

// The line of time, in percent of the drawing's width.
const (
	stripLeft  = 1.2
	stripRight = 98.8
)

func vesselOf(i int, h audit.History) pageVessel {
	p := pageVessel{Anchor: anchor(i), H: h}
	if n := len(h.Lines); n > 0 {
		p.From, p.To = h.Lines[0].Entry.At, h.Lines[n-1].Entry.At
	}
	for _, l := range h.Lines {
		p.Lines = append(p.Lines, pageLine{l, l.Entry.Tell(), wordsOf(l.Entry.Tell()), p.place(l.Entry.At), mark(l)})
	}
	for _, c := range h.Contradictions {
		p.Contradictions = append(p.Contradictions, fmt.Sprintf("%s: %s. %s left it at %s on %s; %s found %s and left it at %s on %s.",
			c.Kind, c.Later.Device.ID, who(h, c.Earlier), c.Earlier.Version, day(c.Earlier.At),
			who(h, c.Later), orUnknown(c.Later.Before), c.Later.Version, day(c.Later.At)))
	}
	return p
}

// who names the technician of a reading, or else the key it is signed with.
func who(h audit.History, r ledger.Reading) string {
	for _, l := range h.Lines {
		if l.Event == r.Event {
			return l.Technician
		}
	}
	return "writer " + r.Writer[:min(8, len(r.Writer))]
}

// pageWord is a word; one that is Whole is not broken at the end of a line,
// so that 4.0-12 is never read as 4.0.
type pageWord struct {
	Text  string
	Whole bool
}

func wordsOf(told string) []pageWord {
	var list []pageWord
	for _, w := range strings.Fields(told) {
		list = append(list, pageWord{w, len(w) <= version.MaxLength && strings.ContainsAny(w, "0123456789")})
	}
	return list
}

func orUnknown(v version.V) version.V {
	if v == "" {
		return version.Unknown
	}
	return v
}

func (p pageVessel) place(t time.Time) float64 {
	whole := p.To.Sub(p.From)
	if whole <= 0 {
		return (stripLeft + stripRight) / 2
	}
	return math.Round(10*(stripLeft+(stripRight-stripLeft)*float64(t.Sub(p.From))/float64(whole))) / 10
}

// mark names a line's kind for its dot.
func mark(l audit.Line) string {
	switch {
	case l.CorrectedBy != "":
		return "corrected"
	case l.Entry.Kind == ledger.StepDone:
		return "done"
	case l.Entry.Kind == ledger.StepFailed || l.Entry.Kind == ledger.CheckFailed:
		return "failed"
	}
	return "other"
}
