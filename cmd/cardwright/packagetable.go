package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/media/intake"
	"cardwright/verify/visible"
)

var releaseColumns = []tables.Column{
	{Name: "file", Must: true},
	{Name: "model", Key: "Device.model", Must: true},
	{Name: "version", Key: "Release.version", Must: true},
	{Name: "variant", Key: "Release.variant"},
	{Name: "released", Key: "Release.released"},
	{Name: "over", Key: "Release.over"},
	{Name: "needs"},
	{Name: "passed_on_by", Key: "Release.passed_on_by"},
	{Name: "minutes", Key: "Release.minutes"},
	{Name: "way_back"},
	{Name: "back_to", Key: "Release.back_to"},
	{Name: "back_settings", Key: "Release.back_settings"},
	{Name: "settings", Key: "Release.settings"},
	{Name: "after"},
	{Name: "touch"},
	{Name: "notes", Key: "Release.notes"},
	{Name: "name", Key: "File.name"},
	{Name: "member"},
	{Name: "unpack"},
	{Name: "sha256", Key: "File.sha256"},
	{Name: "from", Key: "File.from"},
}

// releaseFacts are the columns that speak of the release, and not of one file.
var releaseFacts = []string{"released", "over", "needs", "passed_on_by", "minutes", "way_back", "back_to", "back_settings", "settings", "after", "notes"}

// releaseRow is one row of a table of releases.
type releaseRow struct {
	tables.Row
	options packageOptions
	path    string
	found   intake.Found
	taken   *intake.Taken
	answer  added
}

// releases is a table of releases that is being taken in.
type releases struct {
	s    *session
	name string
	shop *manifest.Shop
	rows []*releaseRow
	ms   manifest.Mistakes
}

// runPackageTable takes in the downloads of a table, a row each. Every row is
// looked at, and its download read, before anything is taken; what is wrong is
// told at once, and then nothing is.
func runPackageTable(ctx context.Context, s *session, name string) error {
	table, wrong := readTable(name, releaseColumns)
	if wrong != nil && mistakes(wrong) == nil {
		return wrong
	}
	shop, err := s.shop()
	if err != nil {
		return err
	}
	leave, err := waitForTurn(ctx, &s.terminal, shop)
	if err != nil {
		return err
	}
	defer leave()
	t := &releases{s: s, name: name, ms: mistakes(wrong)}
	if t.shop, err = s.shop(); err != nil {
		return err
	}
	for _, row := range table.Rows {
		t.rows = append(t.rows, t.row(row))
	}
	t.together()
	if err := t.examine(ctx); err != nil {
		return err
	}
	files, err := t.change()
	if err != nil {
		return err
	}
	if err := t.take(ctx); err != nil {
		return err
	}
	return t.keep(files)
}

func (t *releases) mistake(r *releaseRow, column, what, found, expected, hint string) {
	if len(t.ms) < manifest.MaxMistakes {
		t.ms = append(t.ms, manifest.Mistake{At: r.At(column), What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
	}
}

// told are the mistakes so far, in the order of the table.
func (t *releases) told() error { return mistakesIn(t.name, inOrder(t.ms)) }

// row reads what one row says, and notes what can't stand.
func (t *releases) row(row tables.Row) *releaseRow {
	r := &releaseRow{Row: row}
	o := &r.options
	o.Model, o.version, o.Variant, o.Name, o.Member = row.Get("model"), row.Get("version"), row.Get("variant"), row.Get("name"), row.Get("member")
	o.SHA256, o.From = row.Get("sha256"), row.Get("from")
	o.released, o.over, o.passedOnBy = row.Get("released"), row.Get("over"), row.Get("passed_on_by")
	o.minutes, o.settings, o.notes = row.Get("minutes"), row.Get("settings"), row.Get("notes")
	o.Version, _ = version.Parse(o.version) // the column's rule has checked it
	r.path = t.find(r)
	o.wayBack, o.backTo, o.backSettings = t.wayBack(r), row.Get("back_to"), row.Get("back_settings")
	var ok bool
	if o.Unpack, ok = tables.YesOrNo(row.Get("unpack")); !ok {
		t.mistake(r, "unpack", "unknown word", fmt.Sprintf("%q", row.Get("unpack")), "yes or no", "")
	}
	if t.shop.Model(o.Model) == nil {
		t.mistake(r, "model", "no such model", fmt.Sprintf("%q", o.Model), "the id of a model in the catalogue", manifest.Nearest(o.Model, t.shop.ModelIDs()))
	}
	t.needs(r)
	for _, check := range tables.Parts(row.Get("after"), ";,/") {
		if m := manifest.Problem("Release.after", check); m != nil {
			t.mistake(r, "after", m.What, m.Found, m.Expected, m.Advice)
		}
		o.after = append(o.after, check)
	}
	switch {
	case o.SHA256 != "" && o.From == "":
		t.mistake(r, "sha256", "digest from nowhere", "no from", "where it was got: maker, or a few words", "")
	case o.Member != "" && o.Unpack:
		t.mistake(r, "member", "both member and unpack", fmt.Sprintf("%q", o.Member), "member, for one file of the zip, or unpack, for all", "")
	}
	t.cutVersion(r)
	return r
}

// find is where a row's download lies: beside the table, or where the command
// is run.
func (t *releases) find(r *releaseRow) string {
	file := filepath.FromSlash(r.Get("file"))
	if file == "" {
		return "" // the column's rule says so
	}
	beside := filepath.Join(filepath.Dir(t.name), file)
	for _, path := range []string{beside, file} {
		if filepath.IsAbs(file) {
			path = file
		}
		if _, err := os.Stat(path); err == nil {
			return path
		}
	}
	t.mistake(r, "file", "no such file", fmt.Sprintf("%q", r.Get("file")), "a download, named from the folder of the table or from this one", "")
	return ""
}

func (t *releases) wayBack(r *releaseRow) string {
	text := r.Get("way_back")
	there, ok := tables.YesOrNo(text)
	for _, column := range []string{"back_to", "back_settings"} {
		if r.Get(column) != "" && ok && !there {
			t.mistake(r, column, "a way back that isn't there", fmt.Sprintf("%q", r.Get(column)), "yes in way_back, if the maker gives a way back", "")
		}
	}
	if text == "" {
		return ""
	}
	if !ok {
		t.mistake(r, "way_back", "unknown word", fmt.Sprintf("%q", text), "yes or no, or nothing where the maker doesn't say", "")
	}
	return fmt.Sprint(there)
}

func (t *releases) needs(r *releaseRow) {
	for _, text := range tables.Parts(r.Get("needs"), ";/") {
		need, err := parseNeed(text)
		switch {
		case err != nil:
			t.mistake(r, "needs", "not a demand on another model", fmt.Sprintf("%q", text), `a model and bounds, such as "fennick-sweep-2 >= 1.8", with / between several`, "")
		case t.shop.Model(need.Model) == nil:
			t.mistake(r, "needs", "no such model", fmt.Sprintf("%q", need.Model), "the id of a model in the catalogue", manifest.Nearest(need.Model, t.shop.ModelIDs()))
		}
		r.options.needs = append(r.options.needs, text)
	}
}

// cutVersion notices a version that a spreadsheet took for a number: 4.10 became
// 4.1. Who means 4.1 writes v4.1.
func (t *releases) cutVersion(r *releaseRow) {
	named := versionish.FindString(strings.TrimSuffix(filepath.Base(r.Get("file")), filepath.Ext(r.Get("file"))))
	said := r.Get("version")
	if rest, ok := strings.CutPrefix(named, said); ok && rest != "" && strings.Trim(rest, "0") == "" && strings.Contains(said, ".") {
		t.mistake(r, "version", "version that a spreadsheet may have cut", fmt.Sprintf("%q, and %s in the name of the file", said, named),
			"a version with a v before it, which spreadsheets leave alone", "v"+named+", or v"+said+" if it is that")
	}
}

// together looks at the rows of each release at once: what they say of it, and
// which of its files is touched.
func (t *releases) together() {
	for _, rows := range t.byRelease() {
		first := rows[0]
		t.dated(first)
		for _, r := range rows[1:] {
			for _, c := range releaseFacts {
				if said := r.Get(c); said != "" && said != first.Get(c) {
					t.mistake(r, c, "release told of twice", fmt.Sprintf("%q", said), fmt.Sprintf("nothing, or %q as in line %d", first.Get(c), first.At("model").Line), "")
				}
			}
		}
		t.touched(rows)
	}
}

// byRelease are the rows of each release, in the order of the table.
func (t *releases) byRelease() (all [][]*releaseRow) {
	for _, r := range t.rows {
		i := slices.IndexFunc(all, func(rows []*releaseRow) bool {
			a, b := &rows[0].options, &r.options
			return a.Model == b.Model && a.Variant == b.Variant && a.Version != "" && version.Compare(a.Version, b.Version) == 0
		})
		if i < 0 {
			all = append(all, []*releaseRow{r})
			continue
		}
		all[i] = append(all[i], r)
	}
	return all
}

// dated notes a release that is new to the catalogue and has no day.
func (t *releases) dated(r *releaseRow) {
	m := t.shop.Model(r.options.Model)
	if r.options.released == "" && r.options.Version != "" && m != nil && m.Release(r.options.Version, r.options.Variant) == nil {
		t.mistake(r, "released", "release without a day", "nothing", "the day on which the maker released it: 2026-03-02", "")
	}
}

// touched finds out which files of a release a person touches, by a yes or a name
// in their rows. Several rows of one release are several files only where that
// is said.
func (t *releases) touched(rows []*releaseRow) {
	said := false
	for _, r := range rows {
		text := r.Get("touch")
		yes, word := tables.YesOrNo(text)
		switch {
		case text == "":
		case word && yes:
			r.options.touch = []string{nameOfRow(r)}
		case !word:
			r.options.touch = tables.Parts(text, ";")
		}
		said = said || len(r.options.touch) > 0
		r.options.Several = len(rows) > 1 || text != ""
	}
	if len(rows) > 1 && !said {
		t.mistake(rows[1], "touch", "several files of one release", fmt.Sprintf("line %d, too, has a file of %s %s", rows[0].At("model").Line, rows[0].options.Model, rows[0].options.Version),
			"one row, or touch: yes in the row of the file that a person touches on the device", "")
	}
}

func nameOfRow(r *releaseRow) string {
	if r.options.Member != "" {
		return or(r.options.Name, filepath.Base(r.options.Member))
	}
	return or(r.options.Name, filepath.Base(r.Get("file")))
}

// examine reads every download, where the rows themselves are right so far.
func (t *releases) examine(ctx context.Context) error {
	sums := map[digest.SHA256]*releaseRow{}
	for _, r := range t.rows {
		if r.path == "" || r.options.Version == "" || t.shop.Model(r.options.Model) == nil {
			continue
		}
		r.options.Path = r.path
		found, err := readDownload(ctx, &t.s.terminal, t.shop, r.options.Request)
		refused, ok := errors.AsType[*intake.Refused](err)
		switch {
		case ok:
			t.mistake(r, "file", refused.What, refused.Found, refused.Expected, refused.Advice)
			continue
		case err != nil:
			return err
		}
		if other := sums[found.SHA256]; other != nil {
			t.mistake(r, "file", "file given twice", fmt.Sprintf("the same bytes as in line %d", other.At("file").Line), "each file once", "")
		}
		sums[found.SHA256] = r
		r.found = found
		r.answer = added{File: r.path, Proofs: []string{}, Notes: []string{}}
		r.answer.describe(found)
		t.compare(r)
	}
	return t.told()
}

// compare notes what a row says of a release that the catalogue knows otherwise:
// a table adds, and changes nothing that is there.
func (t *releases) compare(r *releaseRow) {
	have := r.found.Model.Release(r.found.Version, r.found.Variant)
	if have == nil {
		return
	}
	for _, c := range []struct{ column, is string }{
		{"released", have.Released.String()},
		{"over", have.Over.String()},
		{"passed_on_by", have.PassedOnBy.String()},
		{"minutes", fmt.Sprint(have.Minutes)},
		{"back_to", have.BackTo.String()},
		{"back_settings", have.BackLoses},
		{"settings", have.Settings},
		{"notes", have.Notes},
	} {
		if said := r.Get(c.column); said != "" && said != c.is {
			r.answer.Notes = append(r.answer.Notes, fmt.Sprintf("%s was not changed: the catalogue has %q, the table %q", c.column, c.is, said))
		}
	}
}

// change writes all rows to the catalogue's files on trial.
func (t *releases) change() ([]*edit.File, error) {
	var files []*edit.File
	now := t.shop
	for _, r := range t.rows {
		name := edit.NameOf(r.found.Model.At(""))
		i := slices.IndexFunc(files, func(f *edit.File) bool { return f.Name() == name })
		if i < 0 {
			file, err := edit.Open(t.shop.Dir, name)
			if err != nil {
				return nil, err
			}
			i, files = len(files), append(files, file)
		}
		if !r.found.In(now) {
			return nil, errAgain
		}
		if err := r.options.change(files[i], r.found); err != nil {
			return nil, fmt.Errorf("%s: %w", r.At("file"), err)
		}
		next, err := edit.Check(t.shop.Dir, files...)
		if ms := mistakes(err); ms != nil {
			for _, m := range ms {
				t.mistake(r, "file", m.What, m.Found, m.Expected, m.Advice)
			}
			return nil, t.told()
		}
		if err != nil {
			return nil, err
		}
		if now = next; files[i].Differs() {
			r.answer.Catalogue = name
		}
	}
	return files, nil
}

// take copies every download beside its place; on a failure none stays.
func (t *releases) take(ctx context.Context) error {
	for i, r := range t.rows {
		bar := t.s.bar("copying "+filepath.Base(r.path), r.found.Size)
		taken, err := r.found.Take(ctx, t.shop, bar.add)
		bar.end()
		if err != nil {
			for _, before := range t.rows[:i] {
				err = errors.Join(err, before.taken.Abandon())
			}
			return fmt.Errorf("%s: nothing of the table was taken: %w", r.At("file"), err)
		}
		r.taken = taken
	}
	return nil
}

// keep puts the packages in their places, tells the catalogue, and tells of them.
func (t *releases) keep(files []*edit.File) error {
	for i, r := range t.rows {
		if err := r.taken.Commit(); err != nil {
			for _, left := range t.rows[i+1:] {
				err = errors.Join(err, left.taken.Abandon())
			}
			return t.withdraw(fmt.Errorf("%s: nothing of the table was taken: %w", r.At("file"), err), t.rows[:i])
		}
	}
	if err := edit.Save(t.shop.Dir, files...); err != nil {
		return t.withdraw(fmt.Errorf("what the catalogue wasn't told of was not taken; do this again: %w", err), t.rows)
	}
	answer := addedAll{Format: 1, Files: []added{}}
	for _, r := range t.rows {
		r.answer.Taken, r.answer.WasThere, r.answer.Replaced = true, r.taken.WasThere(), r.taken.Was
		if r.found.Instead != nil {
			r.answer.settle(t.s, r.found, r.taken)
		}
		r.answer.Path = r.taken.Path
		answer.Files = append(answer.Files, r.answer)
	}
	t.s.answer(answer, func(w io.Writer) { tellTable(w, answer.Files) })
	return nil
}

func (t *releases) withdraw(err error, rows []*releaseRow) error {
	now, _ := t.s.shop() // the error that is there already says what is wrong with it
	for _, r := range rows {
		err = errors.Join(err, r.taken.Withdraw(now))
	}
	return err
}

func tellTable(w io.Writer, all []added) {
	there := 0
	for _, a := range all {
		if a.WasThere {
			there++
		}
	}
	text := counted(len(all)-there, "package") + " taken in"
	if there > 0 {
		text += fmt.Sprintf(", %d there already, whole", there)
	}
	fmt.Fprintf(w, "✓ %s\n", text)
	for _, a := range all {
		fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(fmt.Sprintf("%s %s: %s, %s", a.Model, a.Version, a.Name, shortTrust[a.Trust])), "    "))
		for _, n := range a.Notes {
			writeLabelled(w, "note", n)
		}
	}
}
