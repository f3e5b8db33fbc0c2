package manifest

import "embed"

// Schemas has a JSON Schema for each kind of file, from which an editor
// completes keys and shows what they mean: schema/shop.schema.json,
// schema/model.schema.json and schema/vessel.schema.json; and schema/KEYS.md,
// which tells people the same. They are made from the types of this package; a
// test keeps them in step.
//
//go:embed schema/*.schema.json schema/KEYS.md
var Schemas embed.FS
