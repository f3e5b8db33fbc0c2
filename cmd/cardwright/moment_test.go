package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// here makes a zone the one of this computer's clock, for one test.
func here(t *testing.T, zone string) {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	before := time.Local
	time.Local = loc
	t.Cleanup(func() { time.Local = before })
}

// When clocks show a time is from the IANA time zone database: the United Kingdom
// goes forward on 2026-03-29 from 1:00 to 2:00 and back on 2026-10-25 from 2:00
// to 1:00; Lord Howe Island by half an hour, back on 2026-04-05 from 2:00 to
// 1:30; Samoa (Apia) left out all of 2011-12-30; Nepal never changes.
func TestWhenClocksShowATime(t *testing.T) {
	for _, c := range []struct {
		zone, wall string
		want       []string
	}{
		{"Europe/London", "2026-07-02 14:30", []string{"2026-07-02 14:30 +01:00"}},
		{"Europe/London", "2026-01-02 14:30", []string{"2026-01-02 14:30 +00:00"}},
		{"Europe/London", "2026-03-29 00:59", []string{"2026-03-29 00:59 +00:00"}},
		{"Europe/London", "2026-03-29 01:00", nil},
		{"Europe/London", "2026-03-29 01:59", nil},
		{"Europe/London", "2026-03-29 02:00", []string{"2026-03-29 02:00 +01:00"}},
		{"Europe/London", "2026-10-25 00:59", []string{"2026-10-25 00:59 +01:00"}},
		{"Europe/London", "2026-10-25 01:00", []string{"2026-10-25 01:00 +01:00", "2026-10-25 01:00 +00:00"}},
		{"Europe/London", "2026-10-25 01:59", []string{"2026-10-25 01:59 +01:00", "2026-10-25 01:59 +00:00"}},
		{"Europe/London", "2026-10-25 02:00", []string{"2026-10-25 02:00 +00:00"}},
		{"Australia/Lord_Howe", "2026-04-05 01:45", []string{"2026-04-05 01:45 +11:00", "2026-04-05 01:45 +10:30"}},
		{"Pacific/Apia", "2011-12-30 12:00", nil},
		{"Asia/Kathmandu", "2026-10-25 01:30", []string{"2026-10-25 01:30 +05:45"}},
		{"UTC", "2026-10-25 01:30", []string{"2026-10-25 01:30 +00:00"}},
	} {
		loc, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		wall, err := time.Parse(wallForm, c.wall)
		require.NoError(t, err)
		var got []string
		for _, m := range moments(wall, loc) {
			got = append(got, m.Format(momentForm))
		}
		assert.Equal(t, c.want, got, "%s %s", c.zone, c.wall)
	}
}

// Without a terminal a time that clocks left out or showed twice is a mistake; with
// its offset it is one.
func TestTimesThatClocksLeaveOutOrShowTwice(t *testing.T) {
	here(t, "Europe/London")
	build := builds(t)[0]
	shop := shopOf(t, build)
	unpacked(t, filepath.Join(build, "ledger.db.gz"), filepath.Join(shop, "ledger.db"))
	trustOwnKey(t, shop)
	// the file is of before the visit that the ledger has
	require.Equal(t, exitDone, cardwright(t, "record", "kittiwake", "--read", "radar=1.6", "--read", "helm=3.1", "--yes", "--shop", shop).code)
	for _, c := range []struct {
		code int
		says string
		args []string
	}{
		{exitUsage, "put forward past it, from +00:00 to +01:00", []string{"record", "kittiwake", "--taken-on", "--at", "2026-03-29 01:30"}},
		{exitUsage, "shown twice", []string{"record", "kittiwake", "--taken-on", "--at", "2026-10-25 01:30"}},
		{exitUsage, `"2026-10-25 01:30 +00:00"`, []string{"audit", "vessel", "kittiwake", "--at", "2026-10-25 01:30"}},
		{exitUsage, "shown twice", []string{"audit", "fleet", "--until", "2026-10-25 01:30"}},
		{exitUsage, "--since 2026-10-26 is after --until 2026-10-25", []string{"audit", "fleet", "--since", "2026-10-26", "--until", "2026-10-25"}},
		{exitUsage, "is after --until", []string{"audit", "export", "--format", "csv", "--since", "2026-10-26", "--until", "2026-10-25"}},
		{exitDone, "", []string{"audit", "fleet", "--since", "2026-10-25", "--until", "2026-10-25"}},
		{exitDone, "", []string{"audit", "fleet", "--until", "2026-10-25 01:30 +01:00"}},
		{exitDone, "", []string{"record", "kittiwake", "--taken-on", "--at", "2026-10-25 01:30 +00:00"}},
		{exitDone, "", []string{"record", "kittiwake", "--taken-on", "--at", "2026-07-02 14:30"}},
	} {
		got := cardwright(t, append(c.args, "--shop", shop)...)
		assert.Equal(t, c.code, got.code, "%q: %s", c.args, got.errs)
		assert.Contains(t, got.errs, c.says, "%q", c.args)
	}
	got := cardwright(t, "audit", "vessel", "kittiwake", "--shop", shop)
	for _, line := range []string{"2026-07-02 14:30 +01:00 ", "2026-10-25 01:30 +00:00 "} {
		assert.Contains(t, got.out, line)
	}
	assert.NotContains(t, got.out, "times of")
}

// At a terminal it is asked for.
func TestTimesAreAskedFor(t *testing.T) {
	here(t, "Europe/London")
	for _, c := range []struct{ text, answers, want string }{
		{"2026-10-25 01:30", "3\n2\n", "2026-10-25 01:30 +00:00"},
		{"2026-10-25 01:30", "1\n", "2026-10-25 01:30 +01:00"},
		{"2026-03-29 01:30", "2026-03-29 01:45\n2026-03-29 02:45\n", "2026-03-29 02:45"},
	} {
		var errs bytes.Buffer
		s := &terminal{in: strings.NewReader(c.answers), out: io.Discard, errs: &errs}
		a := s.asking(context.Background(), true, false)
		wall, err := time.Parse(wallForm, c.text)
		require.NoError(t, err)
		var got string
		if at := moments(wall, time.Local); len(at) == 2 {
			got, err = a.which(c.text, at)
		} else {
			got, err = a.another(leftOut(c.text, wall))
		}
		require.NoError(t, err, errs.String())
		assert.Equal(t, c.want, got)
	}
}
