package store

import (
	"context"
	"database/sql"
	"fmt"

	"cardwright/manifest/problem"
	"cardwright/verify/ledger"
)

// devices works every device's state out again and compares.
func (c *check) devices(ctx context.Context, q Querier) error {
	var after deviceKey
	for {
		keys, err := deviceKeys(ctx, q, after)
		if err != nil || len(keys) == 0 {
			return err
		}
		states, err := settle(ctx, q, keys)
		if err != nil {
			return err
		}
		found, err := storedDevices(ctx, q, keys)
		if err != nil {
			return err
		}
		for _, k := range keys {
			want := ""
			if s, ok := states[k]; ok {
				want = plainRow(s.row())
			}
			c.same("device", k.vessel+" "+k.device, want, found[k])
		}
		after = keys[len(keys)-1]
	}
}

func (c *check) same(table, of, want, found string) {
	if want == found {
		return
	}
	c.add(ledger.Break{
		Kind: ledger.IndexChanged, Problem: problem.Problem{
			Expected: fmt.Sprintf("%s %.100s: %.300s", table, of, want), Found: fmt.Sprintf("%.300s", found),
			Meaning: "audits would use this, but the events say something else: somebody changed the database",
			Advice:  c.advice(table),
		},
	})
}

// deviceKeys are the devices after one, of those with readings or a state.
func deviceKeys(ctx context.Context, q Querier, after deviceKey) ([]deviceKey, error) {
	var keys []deviceKey
	query := fmt.Sprintf(`SELECT vessel, device FROM (
			SELECT * FROM (SELECT DISTINCT vessel, device FROM reading WHERE (vessel, device) > ($1, $2) ORDER BY vessel, device LIMIT %[1]d) a
			UNION SELECT * FROM (SELECT vessel, device FROM device WHERE (vessel, device) > ($1, $2) ORDER BY vessel, device LIMIT %[1]d) b
		) k ORDER BY vessel, device LIMIT %[1]d`, chunk)
	err := Each(ctx, q, query, []any{after.vessel, after.device}, func(r *sql.Rows) error {
		var k deviceKey
		err := r.Scan(&k.vessel, &k.device)
		keys = append(keys, k)
		return err
	})
	return keys, err
}

func storedDevices(ctx context.Context, q Querier, keys []deviceKey) (map[deviceKey]string, error) {
	args := make([]any, 0, 2*len(keys))
	for _, k := range keys {
		args = append(args, k.vessel, k.device)
	}
	found := map[deviceKey]string{}
	query := "SELECT " + deviceColumns + " FROM device WHERE (vessel, device) IN (VALUES " + values(len(keys), 2) + ")"
	var rows anyRows
	err := Each(ctx, q, query, args, func(r *sql.Rows) error {
		row, err := rows.scan(r)
		if err == nil {
			found[deviceKey{fmt.Sprint(row[0]), fmt.Sprint(row[1])}] = plainRow(row)
		}
		return err
	})
	return found, err
}

// vessels works out again what is known of every vessel and compares.
func (c *check) vessels(ctx context.Context, q Querier) error {
	var after string
	for {
		list, found, err := storedVessels(ctx, q, after)
		if err != nil || len(list) == 0 {
			return err
		}
		seen, err := describe(ctx, q, list)
		if err != nil {
			return err
		}
		for _, v := range list {
			want := []any{v}
			for _, word := range seen[v] {
				want = append(want, word)
			}
			c.same("vessel", v, plainRow(want), found[v])
		}
		after = list[len(list)-1]
	}
}

// storedVessels are the vessels after one, of those with events or a row.
func storedVessels(ctx context.Context, q Querier, after string) ([]string, map[string]string, error) {
	var list []string
	found := map[string]string{}
	query := fmt.Sprintf(`SELECT k.vessel, v.vessel, v.name, v.berth, v.imo, v.mmsi, v.hull FROM (
			SELECT vessel FROM (SELECT DISTINCT vessel FROM event WHERE vessel > $1 ORDER BY vessel LIMIT %[1]d) a
			UNION SELECT vessel FROM (SELECT vessel FROM vessel WHERE vessel > $1 ORDER BY vessel LIMIT %[1]d) b
		) k LEFT JOIN vessel v ON v.vessel = k.vessel ORDER BY k.vessel LIMIT %[1]d`, chunk)
	var rows anyRows
	err := Each(ctx, q, query, []any{after}, func(r *sql.Rows) error {
		row, err := rows.scan(r)
		if err != nil {
			return err
		}
		vessel := fmt.Sprint(row[0])
		list = append(list, vessel)
		if row[1] != nil {
			found[vessel] = plainRow(row[1:])
		}
		return nil
	})
	return list, found, err
}
