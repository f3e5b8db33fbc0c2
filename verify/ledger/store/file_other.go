//go:build !unix

package store

import "io/fs"

func explainFile(err error) error { return err }

// fileID is unknown here: a file's information doesn't hold it.
func fileID(fs.FileInfo) string { return "" }
