package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"unicode/utf8"

	"cardwright/verify/ledger"
)

// raw is an event as a database has it, with nothing believed yet.
type raw struct {
	no, seq   int64
	id        []byte
	content   []byte
	signature []byte
	columns   []any // in the order of eventColumns

	event ledger.Event // when err is nil
	err   error
}

// rawBatch is how many events are read at once: at most about 25 MB.
const rawBatch = chunk

// scanPlace is where a scan of a chain goes on.
type scanPlace struct{ seq, no int64 }

// bounded keeps a field of a database from elsewhere from filling memory.
func bounded(column string, most int) string {
	return fmt.Sprintf("CASE WHEN octet_length(%s) <= %d THEN %s END", column, most, column)
}

var rawColumns = sync.OnceValue(func() string {
	columns := slices.Clone(eventColumnNames)
	for i, name := range columns {
		switch name {
		case "chain", "seq":
		case "content":
			columns[i] = bounded(name, ledger.MaxContent)
		default:
			columns[i] = bounded(name, 4*ledger.MaxWord)
		}
	}
	return "no, " + strings.Join(columns, ", ")
})

// eventColumnNames are the columns of events, in the order of eventRow.
var eventColumnNames = strings.Split(eventColumns, ", ")

// readRaw reads the events of a chain that follow a place.
func readRaw(ctx context.Context, q Querier, chain int64, after scanPlace) ([]*raw, error) {
	return readRawWhere(ctx, q, fmt.Sprintf("chain = $1 AND (seq, no) > ($2, $3) ORDER BY seq, no LIMIT %d", rawBatch),
		chain, after.seq, after.no)
}

func readRawWhere(ctx context.Context, q Querier, where string, args ...any) ([]*raw, error) {
	var batch []*raw
	var rows anyRows
	err := Each(ctx, q, "SELECT "+rawColumns()+" FROM event WHERE "+where, args, func(r *sql.Rows) error {
		row, err := rows.scan(r)
		if err != nil {
			return err
		}
		e := &raw{columns: row[1:]}
		e.no, _ = row[0].(int64)
		for i, name := range eventColumnNames {
			switch name {
			case "id":
				e.id = toBytes(e.columns[i])
			case "seq":
				e.seq, _ = e.columns[i].(int64)
			case "content":
				e.content = toBytes(e.columns[i])
			case "signature":
				e.signature = toBytes(e.columns[i])
			}
		}
		batch = append(batch, e)
		return nil
	})
	return batch, err
}

// anyRows reads rows of one query whatever their types are.
type anyRows struct{ to []any }

func (a *anyRows) scan(r *sql.Rows) ([]any, error) {
	if a.to == nil {
		names, err := r.Columns()
		if err != nil {
			return nil, err
		}
		a.to = make([]any, len(names))
	}
	row := make([]any, len(a.to))
	for i := range row {
		a.to[i] = &row[i]
	}
	return row, r.Scan(a.to...)
}

func toBytes(v any) []byte {
	switch v := v.(type) {
	case []byte:
		return v
	case string:
		return []byte(v)
	}
	return nil
}

func toID(b []byte) ledger.ID {
	var id ledger.ID
	copy(id[:], b)
	return id
}

// plain writes a value so that both databases write it alike.
func plain(v any) string { return string(appendPlain(nil, v)) }

func appendPlain(out []byte, v any) []byte {
	switch v := v.(type) {
	case string:
		return append(out, v...)
	case int64:
		return strconv.AppendInt(out, v, 10)
	case []byte:
		return hex.AppendEncode(out, v)
	case nil:
		return out
	}
	return fmt.Append(out, v)
}

// sameField reports whether two values are written alike.
func sameField(a, b any) bool {
	switch a := a.(type) {
	case string:
		if b, is := b.(string); is {
			return a == b
		}
	case int64:
		if b, is := b.(int64); is {
			return a == b
		}
	case []byte:
		if b, is := b.([]byte); is {
			return bytes.Equal(a, b)
		}
	}
	return plain(a) == plain(b)
}

func plainRow(row []any) string {
	var out []byte
	for i, v := range row {
		if i > 0 {
			out = append(out, '|')
		}
		out = appendPlain(out, v)
	}
	return string(out)
}

// verifyAll verifies events on all processors.
func verifyAll(batch []*raw) { verifyBeside(batch).Wait() }

// verifyBeside begins to verify events on all processors. The caller waits for the end
// before it looks at them.
func verifyBeside(batch []*raw) *sync.WaitGroup {
	wait := &sync.WaitGroup{}
	var next atomic.Int64
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(batch)); i = next.Add(1) - 1 {
				batch[i].verify()
			}
		})
	}
	return wait
}

func (e *raw) verify() {
	if len(e.id) != len(ledger.ID{}) {
		e.err = ledger.ErrDigest
		return
	}
	e.event, e.err = ledger.Verify(toID(e.id), e.content, e.signature)
}

// wornOut reports whether an unsound event looks like wear rather than like
// somebody's edit: its content isn't even text in JSON.
func (e *raw) wornOut() bool { return !utf8.Valid(e.content) || !json.Valid(e.content) }

// maxTries is how many unsound events are searched for a flipped bit.
const maxTries = 32

// oneBit reports whether flipping one bit of the content makes it whole again.
// A worn medium does that, but so does whoever makes a 2 a 3.
func (c *check) oneBit(e *raw) bool {
	if c.tries == maxTries {
		return false
	}
	c.tries++
	id := toID(e.id)
	for i := range e.content {
		for bit := range 8 {
			e.content[i] ^= 1 << bit
			whole := ledger.IDOf(e.content) == id
			e.content[i] ^= 1 << bit
			if whole {
				return true
			}
		}
	}
	return false
}
