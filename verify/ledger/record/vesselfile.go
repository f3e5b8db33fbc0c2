package record

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// UpdateVersions writes the versions that devices were seen to run into a
// vessel's file. Everything else stays as it was written: comments, order,
// quotes, line ends. Where a device has no version key it gets one.
//
// It reads what it wrote and returns an error rather than a file in which
// anything but these versions has changed.
func UpdateVersions(file []byte, versions map[string]version.V) ([]byte, error) {
	out, err := updateVersions(file, versions)
	if err != nil {
		return nil, fmt.Errorf("updating the vessel's file: %w", err)
	}
	return out, nil
}

func updateVersions(file []byte, versions map[string]version.V) ([]byte, error) {
	if len(file) > manifest.MaxFileBytes {
		return nil, fmt.Errorf("found %d bytes, expected at most %d", len(file), manifest.MaxFileBytes)
	}
	root, err := rootOf(file)
	if err != nil {
		return nil, err
	}
	devices, err := devicesOf(root)
	if err != nil {
		return nil, err
	}
	for _, id := range sortedKeys(versions) {
		if parsed, err := version.Parse(string(versions[id])); err != nil || parsed != versions[id] {
			return nil, fmt.Errorf("found %s for %s, expected a version", quote(string(versions[id])), id)
		}
	}
	out, err := newLines(file).withVersions(root, devices, versions, (*lines).newKey)
	if err == nil {
		return out, nil
	}
	// A comment below the model may be of the model: then the version goes above.
	if above, errAbove := newLines(file).withVersions(root, devices, versions, (*lines).newKeyAbove); errAbove == nil {
		return above, nil
	}
	return nil, err
}

// place says how a device that has no version key gets one.
type place func(l *lines, device *yaml.Node, id string, v version.V) (*textEdit, error)

// withVersions makes the changed file and reads it back.
func (l *lines) withVersions(root *yaml.Node, devices map[string]*yaml.Node, versions map[string]version.V, newKey place) ([]byte, error) {
	var edits []textEdit
	for _, id := range sortedKeys(versions) {
		e, err := l.editFor(devices[id], id, versions[id], newKey)
		if err != nil {
			return nil, err
		}
		if e != nil {
			edits = append(edits, *e)
		}
	}
	out := apply(l.file, edits)
	return out, sameButVersions(root, out, versions)
}

func sortedKeys(versions map[string]version.V) []string {
	keys := make([]string, 0, len(versions))
	for k := range versions {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func rootOf(file []byte) (*yaml.Node, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(file, &doc); err != nil {
		return nil, err
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("found something else, expected the keys of a vessel's file")
	}
	return doc.Content[0], nil
}

// value returns a mapping's key and its value; nil where it has no such key.
func value(m *yaml.Node, key string) (k, v *yaml.Node) {
	if m == nil || m.Kind != yaml.MappingNode {
		return nil, nil
	}
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key {
			return m.Content[i], m.Content[i+1]
		}
	}
	return nil, nil
}

func devicesOf(root *yaml.Node) (map[string]*yaml.Node, error) {
	_, list := value(root, "devices")
	if list == nil || list.Kind != yaml.SequenceNode {
		return nil, fmt.Errorf("found no list of devices")
	}
	devices := map[string]*yaml.Node{}
	for _, d := range list.Content {
		if _, id := value(d, "id"); id != nil {
			devices[id.Value] = d
		}
	}
	return devices, nil
}

// textEdit puts text in place of some bytes.
type textEdit struct {
	at, length int
	text       string
}

func apply(file []byte, edits []textEdit) []byte {
	slices.SortFunc(edits, func(a, b textEdit) int { return b.at - a.at }) // from the end, so that places stay right
	out := bytes.Clone(file)
	for _, e := range edits {
		out = slices.Concat(out[:e.at], []byte(e.text), out[e.at+e.length:])
	}
	return out
}

// lines finds places in a file by line and column, as YAML counts them: from
// 1, columns in characters.
type lines struct {
	file   []byte
	starts []int
	end    string // of a line
}

func newLines(file []byte) *lines {
	l := &lines{file: file, starts: []int{0}, end: "\n"}
	if bytes.HasPrefix(file, []byte("\ufeff")) {
		l.starts[0] = len("\ufeff")
	}
	for i, b := range file {
		if b == '\n' {
			l.starts = append(l.starts, i+1)
		}
	}
	if bytes.Contains(file, []byte("\r\n")) {
		l.end = "\r\n"
	}
	return l
}

func (l *lines) offset(line, column int) (int, bool) {
	if line < 1 || line > len(l.starts) {
		return 0, false
	}
	at := l.starts[line-1]
	for range column - 1 {
		_, n := utf8.DecodeRune(l.file[at:])
		if n == 0 {
			return 0, false
		}
		at += n
	}
	return at, true
}

func (l *lines) editFor(device *yaml.Node, id string, v version.V, newKey place) (*textEdit, error) {
	if device == nil {
		return nil, fmt.Errorf("found no device %q", id)
	}
	key, old := value(device, "version")
	if key == nil {
		return newKey(l, device, id, v)
	}
	if old.Kind != yaml.ScalarNode {
		return nil, fmt.Errorf("line %d: the version of %s is not a word", old.Line, id)
	}
	if old.Value == string(v) {
		return nil, nil
	}
	e, ok := l.replace(key, old, v)
	if !ok {
		return nil, fmt.Errorf("line %d: the version of %s is written in a way that can't be changed safely: write %s there by hand", old.Line, id, v)
	}
	return e, nil
}

// replace changes a scalar and keeps its quotes.
func (l *lines) replace(key, old *yaml.Node, v version.V) (*textEdit, bool) {
	at, ok := l.offset(old.Line, old.Column)
	if !ok {
		return nil, false
	}
	rest := string(l.file[at:])
	switch {
	case old.Tag == "!!null" && old.Value == "":
		return l.fill(key, v)
	case old.Style == 0 && strings.HasPrefix(rest, old.Value):
		return &textEdit{at, len(old.Value), plain(v)}, true
	case old.Style == yaml.DoubleQuotedStyle && strings.HasPrefix(rest, `"`+old.Value+`"`),
		old.Style == yaml.SingleQuotedStyle && strings.HasPrefix(rest, `'`+old.Value+`'`):
		return &textEdit{at + 1, len(old.Value), string(v)}, true
	}
	return nil, false
}

// fill writes a value after a key that has none.
func (l *lines) fill(key *yaml.Node, v version.V) (*textEdit, bool) {
	at, ok := l.offset(key.Line, key.Column)
	if !ok || !bytes.HasPrefix(l.file[at:], []byte("version:")) {
		return nil, false
	}
	return &textEdit{at + len("version:"), 0, ` "` + string(v) + `"`}, true
}

// plain writes a version without quotes, where it can be.
func plain(v version.V) string {
	if strings.ContainsAny(string(v), ":~") {
		return `"` + string(v) + `"`
	}
	return string(v)
}

// newKey gives a device a version, after its model (or its id).
func (l *lines) newKey(device *yaml.Node, id string, v version.V) (*textEdit, error) {
	key, before := value(device, "model")
	if key == nil {
		key, before = value(device, "id")
	}
	at, ok := l.offset(before.Line, before.Column)
	if !ok || before.Style != 0 || !bytes.HasPrefix(l.file[at:], []byte(before.Value)) {
		return nil, fmt.Errorf("line %d: %s has no version: write version: %q there by hand", key.Line, id, v)
	}
	at += len(before.Value)
	if device.Style&yaml.FlowStyle != 0 {
		return &textEdit{at, 0, fmt.Sprintf(`, version: "%s"`, v)}, nil
	}
	if n := bytes.IndexByte(l.file[at:], '\n'); n >= 0 {
		at += n + 1
	} else {
		at = len(l.file)
	}
	line := strings.Repeat(" ", key.Column-1) + fmt.Sprintf(`version: "%s"`, v)
	if at == len(l.file) && !bytes.HasSuffix(l.file, []byte("\n")) {
		return &textEdit{at, 0, l.end + line}, nil
	}
	return &textEdit{at, 0, line + l.end}, nil
}

// newKeyAbove gives a device a version, on a line above its model (or its id),
// where that doesn't begin the device.
func (l *lines) newKeyAbove(device *yaml.Node, id string, v version.V) (*textEdit, error) {
	if device.Style&yaml.FlowStyle != 0 {
		return l.newKey(device, id, v)
	}
	for _, name := range []string{"model", "id"} {
		key, _ := value(device, name)
		if key == nil || key == device.Content[0] {
			continue
		}
		at, ok := l.offset(key.Line, 1)
		indent := strings.Repeat(" ", key.Column-1)
		if ok && bytes.HasPrefix(l.file[at:], []byte(indent)) {
			return &textEdit{at, 0, indent + fmt.Sprintf(`version: "%s"`, v) + l.end}, nil
		}
	}
	return nil, fmt.Errorf("line %d: %s has no version: write version: %q there by hand", device.Line, id, v)
}

// sameButVersions reads a changed file back.
func sameButVersions(old *yaml.Node, file []byte, versions map[string]version.V) error {
	root, err := rootOf(file)
	if err != nil {
		return fmt.Errorf("reading it back: %w", err)
	}
	devices, err := devicesOf(root)
	if err != nil {
		return fmt.Errorf("reading it back: %w", err)
	}
	for id, v := range versions {
		if _, got := value(devices[id], "version"); got == nil || got.Value != string(v) {
			return fmt.Errorf("reading it back: the version of %s is not %s: write it there by hand", id, v)
		}
	}
	if !reflect.DeepEqual(outline(old, versions), outline(root, versions)) {
		return fmt.Errorf("reading it back: more than the versions would have changed: write them there by hand: %s", told(versions))
	}
	return nil
}

func told(versions map[string]version.V) string {
	var list []string
	for _, id := range sortedKeys(versions) {
		list = append(list, id+" "+string(versions[id]))
	}
	return strings.Join(list, ", ")
}

// outline is a document's keys, values and comments, without the versions
// that were changed.
func outline(n *yaml.Node, versions map[string]version.V) any {
	changed := false
	if _, id := value(n, "id"); id != nil {
		_, changed = versions[id.Value]
	}
	list := []any{n.Kind, n.HeadComment, n.FootComment}
	if n.Kind == yaml.ScalarNode {
		list = append(list, n.Value, n.LineComment)
	}
	for i := 0; i < len(n.Content); i++ {
		if changed && i%2 == 0 && n.Content[i].Value == "version" {
			i++
			continue
		}
		list = append(list, outline(n.Content[i], versions))
	}
	return list
}
