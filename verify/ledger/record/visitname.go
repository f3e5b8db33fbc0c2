package record

import (
	"crypto/sha256"
	"encoding/hex"
	"time"
)

// VisitOf names the visit of a filled sheet by the sheet's own bytes, so that
// the ledger shows when the same sheet is recorded again.
func VisitOf(sheet []byte) string {
	sum := sha256.Sum256(sheet)
	return hex.EncodeToString(sum[:16])
}

// NotedBefore reports whether a visit is in the ledger already, and names it as it is to
// be noted. noted are the visits of it that the ledger has, and when each was. Without a
// date of its own (dated) it is noted once; for two days it is two visits.
func NotedBefore(visit string, at time.Time, dated bool, noted map[string]time.Time) (name string, again bool) {
	if !dated {
		return visit, len(noted) > 0
	}
	for _, was := range noted {
		if day(was) == day(at) {
			return visit, true
		}
	}
	return visit + "@" + day(at), false
}
