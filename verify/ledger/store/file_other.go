//go:build !unix

package store

func explainFile(err error) error { return err }
