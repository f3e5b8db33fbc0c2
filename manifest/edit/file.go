package edit

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/durable"
)

// File is one of a shop's files being changed: as it was read, and as it will be
// written.
type File struct {
	*Text
	dir  string
	was  []byte // nil: it wasn't there
	path string // what is replaced; a link's target
	mode fs.FileMode
}

// Changed says that somebody else wrote a file after it was read. Their
// version is kept; nothing of the change is.
type Changed struct{ Path string }

func (e *Changed) Error() string {
	return "somebody else changed " + e.Path + " meanwhile, and it was left as they wrote it: do this again"
}

// Open reads a file of the shop folder dir; name has slashes between.
func Open(dir, name string) (*File, error) {
	f, err := openPlain(dir, name)
	if err != nil {
		return nil, err
	}
	if f.Text, err = Parse(name, f.was); err != nil {
		return nil, err
	}
	return f, nil
}

// openPlain reads a file as bytes, whatever its contents.
func openPlain(dir, name string) (*File, error) {
	path, err := filepath.EvalSymlinks(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", name, err)
	}
	was, mode, err := read(path)
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", name, err)
	}
	return &File{Text: &Text{name: name}, dir: dir, was: was, path: path, mode: mode}, nil
}

// OpenLoaded opens the file that at is a place in, and loads the shop with the very
// text that was opened: an editor may have changed the file since at was read, and
// places in the shop and in the text have to agree.
func OpenLoaded(dir string, at manifest.Pos) (*File, *manifest.Shop, error) {
	f, err := Open(dir, NameOf(at))
	if err != nil {
		return nil, nil, err
	}
	shop, err := Check(dir, f)
	return f, shop, err
}

// OpenFor is OpenLoaded of a vessel's file, where mistakes that don't concern the
// vessel stop nothing.
func OpenFor(dir string, v *manifest.Vessel) (*File, *manifest.Shop, error) {
	f, err := Open(dir, NameOf(v.At("")))
	if err != nil {
		return nil, nil, err
	}
	shop, _, err := manifest.LoadFor(dir, v.ID, map[string][]byte{f.name: f.data})
	return f, shop, err
}

// New begins a file that isn't there yet: comment lines, and a mapping.
func New(dir, name string, comments []string, m Map) (*File, error) {
	all, _ := pairs(m)
	var b bytes.Buffer
	for _, c := range comments {
		fmt.Fprintf(&b, "# %s\n", c)
	}
	for _, line := range block(all, nil) {
		b.WriteString(line + "\n")
	}
	text, err := Parse(name, b.Bytes())
	if err != nil {
		return nil, err
	}
	if !says(text.root, m) {
		return nil, fmt.Errorf("writing %s: read back, it would not hold the values meant", name)
	}
	return &File{Text: text, dir: dir, path: filepath.Join(dir, filepath.FromSlash(name)), mode: 0o666}, nil
}

// Name is the file's name from the shop folder.
func (f *File) Name() string { return f.name }

// Differs reports whether anything was changed.
func (f *File) Differs() bool { return !bytes.Equal(f.was, f.data) }

// Check loads the shop as it would be with these files, strictly.
func Check(dir string, files ...*File) (*manifest.Shop, error) {
	with := map[string][]byte{}
	for _, f := range files {
		with[f.name] = f.data
	}
	return manifest.LoadWith(dir, with)
}

// wasSo reports whether the shop has these very mistakes without the change, too: work
// on one vessel goes on in spite of mistakes that don't concern it.
func wasSo(dir string, err error) bool {
	var now, before manifest.Mistakes
	_, was := manifest.Load(dir)
	return errors.As(err, &now) && errors.As(was, &before) && slices.Equal(now, before)
}

// Loads refuses files with which the shop would have mistakes that it doesn't have
// without.
func Loads(dir string, files ...*File) error {
	if _, err := Check(dir, files...); err != nil && !wasSo(dir, err) {
		return fmt.Errorf("nothing was written, for the shop would not load: %w", err)
	}
	return nil
}

// Save checks the shop as it would be, and then writes each file that differs:
// next to it, then in place of the old one in one step. A file that somebody wrote
// meanwhile stays as they wrote it, and the error wraps *Changed. With several
// files, those before it are written.
func Save(dir string, files ...*File) error {
	if err := Loads(dir, files...); err != nil {
		return err
	}
	for _, f := range files {
		if !f.Differs() {
			continue
		}
		if err := f.save(); err != nil {
			return err
		}
	}
	return nil
}

// tries is how often Rewrite begins again when others write the file meanwhile.
const tries = 10

// Rewrite puts what change makes of a file's text in its place, in one step,
// and reports whether that differs. Where somebody wrote the file meanwhile, it is
// made again of what they wrote. The shop is not loaded: change answers for what
// it makes.
func Rewrite(dir, name string, change func(text []byte) ([]byte, error)) (differs bool, err error) {
	for range tries {
		f, err := openPlain(dir, name)
		if err != nil {
			return false, err
		}
		if f.data, err = change(f.was); err != nil || !f.Differs() {
			return false, err
		}
		var meanwhile *Changed
		if err = f.save(); !errors.As(err, &meanwhile) || errors.Is(err, errAside) {
			return err == nil, err
		}
	}
	return false, &Changed{name}
}

func (f *File) save() error {
	if f.was != nil {
		if err := f.nameSchema(); err != nil {
			return fmt.Errorf("writing %s: %w", f.name, err)
		}
	}
	if err := durable.MakeFolders(filepath.Dir(f.path), 0o755); err != nil {
		return fmt.Errorf("writing %s: %w", f.name, err)
	}
	fresh, err := durable.Beside(f.path, f.mode, bytes.NewReader(f.data))
	if err != nil {
		return fmt.Errorf("writing %s: %w", f.name, err)
	}
	if f.was == nil {
		err = f.place(fresh)
	} else {
		err = f.exchange(fresh)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", f.name, err)
	}
	f.was = f.data
	return nil
}

// nameSchema gives a file that is changed the line by which editors find its
// schema, where it has none.
func (f *File) nameSchema() error {
	data := withSchemaLine(f.dir, f.name, f.data)
	if f.root == nil { // it isn't read as YAML here
		f.data = data
		return nil
	}
	return f.become(data)
}

// errThere says that a file that should be new isn't.
var errThere = errors.New("it is there already, and was left as it is")

// place puts a new file where there is none yet.
func (f *File) place(fresh string) error {
	err := durable.RenameNew(fresh, f.path)
	if errors.Is(err, fs.ErrExist) {
		err = errThere
	}
	if err != nil {
		return errors.Join(err, os.Remove(fresh))
	}
	return nil
}

// errAside says that what somebody wrote meanwhile could not be put back.
var errAside = errors.New("their version is kept")

// exchange puts the new text in place of the old one. It compares the file there
// before that and, where the system can swap two files in one step, once more after
// it: an editor that saved in between gets its text back.
func (f *File) exchange(fresh string) error {
	if !f.stands(f.path) {
		return errors.Join(&Changed{f.name}, os.Remove(fresh))
	}
	switch swapped, err := swap(fresh, f.path); {
	case err != nil:
		return errors.Join(err, os.Remove(fresh))
	case !swapped:
		return durable.Rename(fresh, f.path)
	case f.stands(fresh):
		return errors.Join(durable.SyncFolder(filepath.Dir(f.path)), os.Remove(fresh))
	}
	if _, err := swap(fresh, f.path); err != nil {
		return fmt.Errorf("%w; %w in %s: %w", &Changed{f.name}, errAside, fresh, err)
	}
	return errors.Join(&Changed{f.name}, os.Remove(fresh))
}

// stands says whether a file is still what was read.
func (f *File) stands(path string) bool {
	now, _, err := read(path)
	return err == nil && bytes.Equal(now, f.was)
}

func read(path string) ([]byte, fs.FileMode, error) {
	in, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer in.Close() // opened for reading only
	info, err := in.Stat()
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, errors.New("not a plain file")
	}
	text, err := io.ReadAll(io.LimitReader(in, manifest.MaxFileBytes+1))
	return text, info.Mode().Perm(), err
}
