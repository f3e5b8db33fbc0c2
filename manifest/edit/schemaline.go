package edit

import (
	"bytes"
	"os"
	"path"
	"path/filepath"
	"strings"

	"cardwright/manifest"
)

// SchemaFolder holds the schemas in a shop folder.
const SchemaFolder = "schema"

const schemaKey = "yaml-language-server: $schema="

// SchemaComment is the comment by which editors find the schema of a file of the
// shop, by its name from the shop folder; "" for files that have none. From a
// deeper folder it leads up as far.
func SchemaComment(name string) string {
	schema := schemaFile(name)
	if schema == "" {
		return ""
	}
	return schemaKey + strings.Repeat("../", strings.Count(path.Clean(name), "/")) + schema
}

// schemaFile is the schema of a file of the shop, from the shop folder.
func schemaFile(name string) string {
	kind, _, below := strings.Cut(path.Clean(name), "/")
	switch {
	case !below && kind == manifest.ShopFile:
		kind = "shop"
	case below && kind == manifest.CatalogueFolder:
		kind = "model"
	case below && kind == manifest.VesselsFolder:
		kind = "vessel"
	default:
		return ""
	}
	return SchemaFolder + "/" + kind + ".schema.json"
}

// withSchemaLine is a file's text with the line by which editors find its schema
// before it, where it names none yet and the shop has the schemas.
func withSchemaLine(dir, name string, text []byte) []byte {
	schema := schemaFile(name)
	if schema == "" || bytes.Contains(text, []byte("$schema=")) {
		return text
	}
	if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(schema))); err != nil {
		return text
	}
	end := "\n"
	if first := bytes.IndexByte(text, '\n'); first > 0 && text[first-1] == '\r' {
		end = "\r\n"
	}
	mark := []byte("\xef\xbb\xbf") // a byte order mark stays in front
	rest, marked := bytes.CutPrefix(text, mark)
	line := []byte("# " + SchemaComment(name) + end)
	if marked {
		line = append(mark[:len(mark):len(mark)], line...)
	}
	return append(line, rest...)
}
