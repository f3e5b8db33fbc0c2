package adding

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
	"cardwright/media/intake"
)

// Columns are those of a table of releases, a row for each download.
var Columns = []tables.Column{
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

// row is one row of a table of releases.
type row struct {
	tables.Row
	said  Said
	path  string
	found intake.Found
	taken *intake.Taken
	added Added
}

// Table is a table of releases that is being taken in.
type Table struct {
	in   Shop
	name string
	shop *manifest.Shop
	rows []*row
	ms   manifest.Mistakes
}

// RowMistakes are what is wrong in a table, in its order; nothing was written.
type RowMistakes struct{ All manifest.Mistakes }

func (e *RowMistakes) Error() string { return e.All.Error() }

// TakeTable takes in the downloads of a table, a row each; wrong is what reading the
// table has found. Every row is checked, and its download read, before anything is
// taken: all mistakes are reported at once (*RowMistakes), and nothing
// is taken. Downloads named without their folder are next to the table.
func TakeTable(ctx context.Context, in Shop, name string, table *tables.Table, wrong manifest.Mistakes) ([]Added, error) {
	shop, err := in.Load()
	if err != nil {
		return nil, err
	}
	leave, err := intake.TakeTurn(ctx, shop, in.Waits)
	if err != nil {
		return nil, err
	}
	defer leave()
	t := &Table{in: in, name: name, ms: wrong}
	if t.shop, err = in.Load(); err != nil {
		return nil, err
	}
	for _, r := range table.Rows {
		t.rows = append(t.rows, t.row(r))
	}
	t.together()
	if err := t.examine(ctx); err != nil {
		return nil, err
	}
	files, err := t.change()
	if err != nil {
		return nil, err
	}
	if err := t.take(ctx); err != nil {
		return nil, err
	}
	return t.keep(files)
}

func (t *Table) mistake(r *row, column, what, found, expected, hint string) {
	if len(t.ms) < manifest.MaxMistakes {
		t.ms = append(t.ms, manifest.Mistake{At: r.At(column), What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: hint}})
	}
}

// told are the mistakes so far, in the order of the table; nil: there are none.
func (t *Table) told() error {
	if len(t.ms) == 0 {
		return nil
	}
	slices.SortStableFunc(t.ms, func(a, b manifest.Mistake) int {
		return cmp.Or(a.At.Line-b.At.Line, a.At.Column-b.At.Column)
	})
	return &RowMistakes{t.ms}
}

// examine reads every download, where the rows themselves are right so far.
func (t *Table) examine(ctx context.Context) error {
	sums := map[digest.SHA256]*row{}
	for _, r := range t.rows {
		if r.path == "" || r.said.Version == "" || t.shop.Model(r.said.Model) == nil {
			continue
		}
		r.said.Path = r.path
		found, err := examined(ctx, t.in, t.shop, r.said.Request)
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
		r.added = addedOf(r.path)
		r.added.describe(found)
		t.compare(r)
	}
	return t.told()
}

// compare notes what a row says of a release that the catalogue knows otherwise:
// a table adds, and changes nothing that is there.
func (t *Table) compare(r *row) {
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
			r.added.Notes = append(r.added.Notes, fmt.Sprintf("%s was not changed: the catalogue has %q, the table %q", c.column, c.is, said))
		}
	}
}

// change writes all rows to the catalogue's files on trial.
func (t *Table) change() ([]*edit.File, error) {
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
			return nil, ErrAgain
		}
		if err := r.said.change(files[i], r.found, t.in); err != nil {
			return nil, fmt.Errorf("%s: %w", r.At("file"), err)
		}
		next, err := edit.Check(t.shop.Dir, files...)
		if ms, ok := errors.AsType[manifest.Mistakes](err); ok {
			for _, m := range ms {
				t.mistake(r, "file", m.What, m.Found, m.Expected, m.Advice)
			}
			return nil, t.told()
		}
		if err != nil {
			return nil, err
		}
		if now = next; files[i].Differs() {
			r.added.Catalogue = name
		}
	}
	return files, nil
}

// take copies every download next to its place; on a failure none stays.
func (t *Table) take(ctx context.Context) error {
	for i, r := range t.rows {
		add, end := t.in.Watch("copying", r.path, r.found.Size)
		taken, err := r.found.Take(ctx, t.shop, add)
		end()
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

// keep puts the packages in their places, enters them in the catalogue, and reports them.
func (t *Table) keep(files []*edit.File) ([]Added, error) {
	for i, r := range t.rows {
		if err := r.taken.Commit(); err != nil {
			for _, left := range t.rows[i+1:] {
				err = errors.Join(err, left.taken.Abandon())
			}
			return nil, t.withdraw(fmt.Errorf("%s: nothing of the table was taken: %w", r.At("file"), err), t.rows[:i])
		}
	}
	if err := edit.Save(t.shop.Dir, files...); err != nil {
		return nil, t.withdraw(fmt.Errorf("packages that could not be entered in the catalogue were not taken; do this again: %w", err), t.rows)
	}
	all := []Added{}
	for _, r := range t.rows {
		r.added.Taken, r.added.WasThere, r.added.Replaced = true, r.taken.WasThere(), r.taken.Was
		if r.found.Instead != nil {
			r.added.settle(t.in, r.found, r.taken)
		}
		r.added.Path = r.taken.Path
		all = append(all, r.added)
	}
	return all, nil
}

func (t *Table) withdraw(err error, rows []*row) error {
	now, _ := t.in.Load() // the error that is there already says what is wrong with it
	for _, r := range rows {
		err = errors.Join(err, r.taken.Withdraw(now))
	}
	return err
}
