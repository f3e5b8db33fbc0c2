//go:build !unix

package intake

// syncFolder does nothing where folders can't be opened like files.
func syncFolder(string) error { return nil }
