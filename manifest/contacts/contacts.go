// Package contacts keeps whom to call about a boat in a file of its own, so that it
// can be forgotten: a ledger can't forget. None of it goes onto a card or into a
// ledger, and into an export only where somebody asks for it.
package contacts

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest/durable"
)

// File is the file's name in the shop folder. Only its owner may read it.
const File = "contacts.yaml"

// Bounds on the file.
const (
	maxBytes = 1 << 20
	maxWord  = 200
)

// Contact is whom to call about a vessel.
type Contact struct {
	Vessel string `yaml:"vessel" json:"vessel"` // id
	Name   string `yaml:"name,omitempty" json:"name"`
	Phone  string `yaml:"phone,omitempty" json:"phone"`
	Email  string `yaml:"email,omitempty" json:"email"`
}

// String is one line: name, phone, e-mail.
func (c Contact) String() string {
	return strings.Join(slices.DeleteFunc([]string{c.Name, c.Phone, c.Email}, func(s string) bool { return s == "" }), ", ")
}

// Problem says what is wrong with a contact; nil where nothing is.
func (c Contact) Problem() error {
	switch {
	case c.Vessel == "":
		return errors.New("found no vessel, expected the id of one")
	case c.Name+c.Phone+c.Email == "":
		return fmt.Errorf("%s: found nothing, expected name, phone or email", c.Vessel)
	case c.Email != "" && strings.Count(c.Email, "@") != 1:
		return fmt.Errorf("%s: email: found %q, expected one @ in it", c.Vessel, c.Email)
	case strings.Trim(c.Phone, "0123456789 +-()/.") != "":
		return fmt.Errorf("%s: phone: found %q, expected digits, spaces and any of + - ( ) . /", c.Vessel, c.Phone)
	}
	for _, word := range []string{c.Vessel, c.Name, c.Phone, c.Email} {
		if len(word) > maxWord || !utf8.ValidString(word) || strings.ContainsFunc(word, func(r rune) bool { return !unicode.IsGraphic(r) }) {
			return fmt.Errorf("%s: found %.40q, expected at most %d bytes of text that can be seen", c.Vessel, word, maxWord)
		}
	}
	return nil
}

// Load reads the contacts of a shop, by vessel; none where there is no file.
func Load(dir string) ([]Contact, error) {
	f, err := os.Open(filepath.Join(dir, File))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading contacts: %w", err)
	}
	defer f.Close() // opened for reading only
	text, err := io.ReadAll(io.LimitReader(f, maxBytes+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("reading contacts: %w", err)
	case len(text) > maxBytes:
		return nil, fmt.Errorf("%s: found more than %d bytes, expected at most %d", File, maxBytes, maxBytes)
	}
	return parse(text)
}

// parse reads a file's text; errors have their line and column.
func parse(text []byte) ([]Contact, error) {
	var root yaml.Node
	if err := yaml.NewDecoder(bytes.NewReader(text)).Decode(&root); errors.Is(err, io.EOF) {
		return nil, nil // comments alone
	} else if err != nil {
		at := &yaml.Node{Line: 1, Column: 1}
		var told *yaml.LoadError
		if errors.As(err, &told) {
			at.Line, at.Column = max(told.Mark.Line, 1), max(told.Mark.Column, 1)
		}
		return nil, wrong(at, "text that is not YAML", form)
	}
	entries := root.Content[0]
	if entries.Kind != yaml.SequenceNode {
		return nil, wrong(entries, "no list", form)
	}
	var list []Contact
	for _, entry := range entries.Content {
		c, err := contactOf(entry)
		if err != nil {
			return nil, err
		}
		if err := c.Problem(); err != nil {
			return nil, fmt.Errorf("%s:%d:%d: %w", File, entry.Line, entry.Column, err)
		}
		if _, again := Of(list, c.Vessel); again {
			return nil, wrong(entry, c.Vessel+" again", "each vessel once")
		}
		list = append(list, c)
	}
	return list, nil
}

// form is what the file has in it.
const form = "a list, each entry with vessel and any of name, phone and email"

func contactOf(entry *yaml.Node) (c Contact, err error) {
	if entry.Kind != yaml.MappingNode {
		return c, wrong(entry, "an entry without keys", form)
	}
	keys := map[string]*string{"vessel": &c.Vessel, "name": &c.Name, "phone": &c.Phone, "email": &c.Email}
	for i := 0; i+1 < len(entry.Content); i += 2 {
		name, value := entry.Content[i], entry.Content[i+1]
		to := keys[name.Value]
		switch {
		case to == nil:
			return c, wrong(name, fmt.Sprintf("the key %.40q", name.Value), "vessel, name, phone and email, each once")
		case value.Kind != yaml.ScalarNode:
			return c, wrong(value, "no text for "+name.Value, "text on one line")
		case value.Tag != "!!null":
			*to = value.Value
		}
		delete(keys, name.Value)
	}
	return c, nil
}

func wrong(at *yaml.Node, found, expected string) error {
	return fmt.Errorf("%s:%d:%d: found %s, expected %s", File, at.Line, at.Column, found, expected)
}

// Of finds whom to call about a vessel, by the first of her ids in the list.
func Of(list []Contact, ids ...string) (Contact, bool) {
	for _, id := range ids {
		if i := slices.IndexFunc(list, func(c Contact) bool { return c.Vessel == id }); i >= 0 {
			return list[i], true
		}
	}
	return Contact{}, false
}

// Rename moves a vessel's contact to another id. A contact that is there already
// stays.
func Rename(dir, from, to string) error {
	list, err := Load(dir)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(c Contact) bool { return c.Vessel == from })
	if _, there := Of(list, to); i < 0 || there {
		return nil
	}
	list[i].Vessel = to
	return save(dir, list)
}

// Keep writes a contact down in place of the vessel's earlier one; one that says
// nothing takes that out. It reports whether anything changed.
func Keep(dir string, c Contact) (bool, error) {
	list, err := Load(dir)
	if err != nil {
		return false, err
	}
	was, there := Of(list, c.Vessel)
	list = slices.DeleteFunc(list, func(o Contact) bool { return o.Vessel == c.Vessel })
	if c.Name+c.Phone+c.Email != "" {
		if err := c.Problem(); err != nil {
			return false, err
		}
		list = append(list, c)
	} else if !there {
		return false, nil
	}
	if was == c {
		return false, nil
	}
	return true, save(dir, list)
}

// Forget takes out whom to call about a vessel, under all of her ids. It reports whether
// anybody stood there.
func Forget(dir string, ids ...string) (bool, error) {
	some := false
	for _, id := range ids {
		forgot, err := Keep(dir, Contact{Vessel: id})
		if err != nil {
			return some, err
		}
		some = some || forgot
	}
	return some, nil
}

func save(dir string, list []Contact) error {
	slices.SortFunc(list, func(a, b Contact) int { return cmp.Compare(a.Vessel, b.Vessel) })
	out := []byte("# Whom to call about a boat. It goes onto no card and into no ledger.\n")
	if len(list) > 0 {
		text, err := yaml.Marshal(list)
		if err != nil {
			return fmt.Errorf("writing contacts: %w", err)
		}
		out = append(out, text...)
	}
	if err := durable.Write(filepath.Join(dir, File), 0o600, bytes.NewReader(out)); err != nil {
		return fmt.Errorf("writing contacts: %w", err)
	}
	return nil
}
