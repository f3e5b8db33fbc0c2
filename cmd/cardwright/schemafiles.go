package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/media/place"
)

// schemaFolder is where a shop keeps the schemas of its files.
const schemaFolder = edit.SchemaFolder

// renewSchemas is all that is done to a shop folder that is there.
func renewSchemas(t *terminal, dir string, o initOptions) error {
	if o.name != "" || o.call != "" {
		return fmt.Errorf("%s is a shop folder already, and was left as it is: change shop.yaml by hand", dir)
	}
	if err := writeSchemas(dir); err != nil {
		return err
	}
	t.wrote("schemas written anew: "+filepath.Join(dir, schemaFolder), "")
	return nil
}

// missingSchemas are written where a file refers to them: a shop folder may have
// been made by hand.
func missingSchemas(dir string) error {
	switch _, err := os.Stat(filepath.Join(dir, schemaFolder)); {
	case errors.Is(err, fs.ErrNotExist):
		return writeSchemas(dir)
	case err != nil:
		return fmt.Errorf("looking for the schemas: %w", err)
	}
	return nil
}

func writeSchemas(dir string) error {
	if err := os.MkdirAll(filepath.Join(dir, schemaFolder), 0o755); err != nil {
		return fmt.Errorf("writing the schemas: %w", err)
	}
	entries, err := fs.ReadDir(manifest.Schemas, "schema")
	if err != nil {
		return fmt.Errorf("writing the schemas: %w", err)
	}
	for _, e := range entries {
		in, err := manifest.Schemas.Open(path.Join("schema", e.Name()))
		if err != nil {
			return fmt.Errorf("writing the schemas: %w", err)
		}
		err = place.Write(filepath.Join(dir, schemaFolder, e.Name()), in)
		if err := errors.Join(err, in.Close()); err != nil {
			return fmt.Errorf("writing the schemas: %w", err)
		}
	}
	return nil
}
