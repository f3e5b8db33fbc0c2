package adding

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
)

// releaseFacts are the columns that speak of the release, and not of one file.
var releaseFacts = []string{"released", "over", "needs", "passed_on_by", "minutes", "way_back", "back_to", "back_settings", "settings", "after", "notes"}

// row reads one row, and notes what isn't accepted in it.
func (t *Table) row(from tables.Row) *row {
	r := &row{Row: from}
	o := &r.said
	o.Model, o.Variant, o.Name, o.Member = from.Get("model"), from.Get("variant"), from.Get("name"), from.Get("member")
	o.SHA256, o.From = from.Get("sha256"), from.Get("from")
	o.Released, o.Over, o.PassedOnBy = from.Get("released"), from.Get("over"), from.Get("passed_on_by")
	o.Minutes, o.Settings, o.Notes = from.Get("minutes"), from.Get("settings"), from.Get("notes")
	o.Version, _ = version.Parse(from.Get("version")) // the column's rule has checked it
	r.path = t.find(r)
	o.WayBack, o.BackTo, o.BackSettings = t.wayBack(r), from.Get("back_to"), from.Get("back_settings")
	var ok bool
	if o.Unpack, ok = tables.YesOrNo(from.Get("unpack")); !ok {
		t.mistake(r, "unpack", "unknown word", fmt.Sprintf("%q", from.Get("unpack")), "yes or no", "")
	}
	if t.shop.Model(o.Model) == nil {
		t.mistake(r, "model", "no such model", fmt.Sprintf("%q", o.Model), "the id of a model in the catalogue", manifest.Nearest(o.Model, t.shop.ModelIDs()))
	}
	t.needs(r)
	for _, check := range tables.Parts(from.Get("after"), ";,/") {
		if m := manifest.Problem("Release.after", check); m != nil {
			t.mistake(r, "after", m.What, m.Found, m.Expected, m.Advice)
		}
		o.After = append(o.After, check)
	}
	switch {
	case o.SHA256 != "" && o.From == "":
		t.mistake(r, "sha256", "digest without its source", "no from", "where it was got: maker, or a few words", "")
	case o.Member != "" && o.Unpack:
		t.mistake(r, "member", "both member and unpack", fmt.Sprintf("%q", o.Member), "member, for one file of the zip, or unpack, for all", "")
	}
	t.cutVersion(r)
	return r
}

// find is where a row's download is: next to the table, or where the command
// is run.
func (t *Table) find(r *row) string {
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

func (t *Table) wayBack(r *row) string {
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

func (t *Table) needs(r *row) {
	for _, text := range tables.Parts(r.Get("needs"), ";/") {
		need, err := parseNeed(text)
		switch {
		case err != nil:
			t.mistake(r, "needs", "not a model and its versions", fmt.Sprintf("%q", text), `a model and bounds, such as "fennick-sweep-2 >= 1.8", with / between several`, "")
		case t.shop.Model(need.Model) == nil:
			t.mistake(r, "needs", "no such model", fmt.Sprintf("%q", need.Model), "the id of a model in the catalogue", manifest.Nearest(need.Model, t.shop.ModelIDs()))
		}
		r.said.Needs = append(r.said.Needs, text)
	}
}

// cutVersion notices a version that a spreadsheet took for a number: 4.10 became
// 4.1. Who means 4.1 writes v4.1.
func (t *Table) cutVersion(r *row) {
	named := versionish.FindString(strings.TrimSuffix(filepath.Base(r.Get("file")), filepath.Ext(r.Get("file"))))
	said := r.Get("version")
	if rest, ok := strings.CutPrefix(named, said); ok && rest != "" && strings.Trim(rest, "0") == "" && strings.Contains(said, ".") {
		t.mistake(r, "version", "version that a spreadsheet may have shortened", fmt.Sprintf("%q, and %s in the name of the file", said, named),
			"a version with a v before it, which spreadsheets leave alone", "v"+named+", or v"+said+" if it is that")
	}
}

// together looks at the rows of each release at once: what they say of it, and
// which of its files is touched.
func (t *Table) together() {
	for _, rows := range t.byRelease() {
		first := rows[0]
		t.dated(first)
		for _, r := range rows[1:] {
			for _, c := range releaseFacts {
				if said := r.Get(c); said != "" && said != first.Get(c) {
					t.mistake(r, c, "two values for one release", fmt.Sprintf("%q", said), fmt.Sprintf("nothing, or %q as in line %d", first.Get(c), first.At("model").Line), "")
				}
			}
		}
		t.touched(rows)
	}
}

// byRelease are the rows of each release, in the order of the table.
func (t *Table) byRelease() (all [][]*row) {
	for _, r := range t.rows {
		i := slices.IndexFunc(all, func(rows []*row) bool {
			a, b := &rows[0].said, &r.said
			return a.Model == b.Model && a.Variant == b.Variant && a.Version != "" && version.Compare(a.Version, b.Version) == 0
		})
		if i < 0 {
			all = append(all, []*row{r})
			continue
		}
		all[i] = append(all[i], r)
	}
	return all
}

// dated notes a release that is new to the catalogue and has no day.
func (t *Table) dated(r *row) {
	m := t.shop.Model(r.said.Model)
	if r.said.Released == "" && r.said.Version != "" && m != nil && m.Release(r.said.Version, r.said.Variant) == nil {
		t.mistake(r, "released", "release without a day", "nothing", "the day on which the maker released it: 2026-03-02", "")
	}
}

// touched finds out which files of a release a person touches, by a yes or a name
// in their rows. Several rows of one release are several files only where that
// is said.
func (t *Table) touched(rows []*row) {
	said := false
	for _, r := range rows {
		text := r.Get("touch")
		yes, word := tables.YesOrNo(text)
		switch {
		case text == "":
		case word && yes:
			r.said.Touch = []string{nameOfRow(r)}
		case !word:
			r.said.Touch = tables.Parts(text, ";")
		}
		said = said || len(r.said.Touch) > 0
		r.said.Several = len(rows) > 1 || text != ""
	}
	if len(rows) > 1 && !said {
		t.mistake(rows[1], "touch", "several files of one release", fmt.Sprintf("line %d, too, has a file of %s %s", rows[0].At("model").Line, rows[0].said.Model, rows[0].said.Version),
			"one row, or touch: yes in the row of the file that a person touches on the device", "")
	}
}

func nameOfRow(r *row) string {
	switch {
	case r.said.Name != "":
		return r.said.Name
	case r.said.Member != "":
		return filepath.Base(r.said.Member)
	}
	return filepath.Base(r.Get("file"))
}
