//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd || windows)

package store

import "context"

// takeTurn is for systems that can lock a folder; on others the file's own
// lock decides.
func (l *Ledger) takeTurn(context.Context) (leave func()) { return func() {} }
