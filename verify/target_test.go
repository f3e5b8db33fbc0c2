package verify_test

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// askedOf is a question about a card of the shop's vessel, or of anybody's.
func askedOf(s *shoptest.Shop, vessel bool) verify.Asked {
	a := verify.Asked{
		Shop: s.Shop, On: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC),
		InstallOrder: func(order.Plan) ([]byte, error) { return []byte(shoptest.InstallOrder), nil },
		Commands:     func(int) verify.Commands { return corpusCommands },
		Made:         func(*media.Record) *verify.Making { return nil },
	}
	if vessel {
		a.Vessel = s.Vessel
	}
	return a
}

func unwatched(int64) (func(int64), func()) { return func(int64) {}, func() {} }

// imageOf writes the vessel's card of today's plan to an image.
func imageOf(t *testing.T, s *shoptest.Shop, sign func([]byte) ([]byte, error)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "card.img")
	layout, _, err := media.Visit(s.Shop, s.Vessel, order.Ask{}, shoptest.Small)
	require.NoError(t, err)
	image, err := drive.CreateImage(path, shoptest.Small)
	require.NoError(t, err)
	job := media.Job{Layout: layout, Card: layout.Cards[0], Packages: media.PackagesOf(s.Shop), InstallOrder: []byte(shoptest.InstallOrder), Sign: sign}
	out := job.Write(t.Context(), []media.Target{{Medium: image, Judge: func(context.Context, io.ReaderAt, media.Record, string) error { return nil }}})
	require.NoError(t, out[0].Err)
	require.NoError(t, image.Commit())
	return path
}

// What a card should hold follows from who asks: for a vessel its plan's card, for
// nobody what its record says, and only if a trusted shop has signed that.
func TestWhatACardShouldHold(t *testing.T) {
	s := shoptest.Kittiwake(t, t.TempDir())
	path := imageOf(t, s, nil)

	v, err := verify.Target(t.Context(), path, askedOf(s, true), unwatched)
	require.NoError(t, err)
	defer v.Close()
	assert.Equal(t, verify.Good, v.Report.Verdict, "%v", v.Report.Findings)
	assert.Equal(t, 1, v.Wanted.Card.Number)
	assert.EqualValues(t, shoptest.Small, v.Bytes)
	assert.Empty(t, v.Whose)
	for _, f := range v.Wanted.Card.Files {
		assert.NotNil(t, v.Report.Whole(f.SHA256), "%s can be taken from the card", f.Path)
	}

	nobody, err := verify.Target(t.Context(), path, askedOf(s, false), unwatched)
	require.NoError(t, err)
	defer nobody.Close()
	assert.Equal(t, verify.Unchecked, nobody.Report.Verdict, "nobody has signed its record")
	assert.Zero(t, nobody.Wanted.Card.Number)

	other := *s.Vessel
	other.ID, other.Name = "skerry-light", "Skerry Light"
	asked := askedOf(s, true)
	asked.Vessel = &other
	another, err := verify.Target(t.Context(), path, asked, unwatched)
	require.NoError(t, err)
	defer another.Close()
	assert.Equal(t, verify.Bad, another.Report.Verdict)
	assert.Contains(t, another.Whose, "Kittiwake's card")
}

// A vessel that is up to date needs no card: one that brings it nothing isn't called
// good for it.
func TestACardForAVesselThatNeedsNone(t *testing.T) {
	s := shoptest.Kittiwake(t, t.TempDir())
	path := imageOf(t, s, nil)
	for _, d := range s.Vessel.Devices {
		d.Version = s.Shop.Model(d.Model).Releases[0].Version
	}
	v, err := verify.Target(t.Context(), path, askedOf(s, true), unwatched)
	require.NoError(t, err)
	defer v.Close()
	assert.True(t, v.Wanted.Expected.Nothing)
	assert.NotEqual(t, verify.Good, v.Report.Verdict)
}

// Without an answer there is a reason, and whoever asked gets it as a value.
func TestCardsOfWhichNothingCanBeSaid(t *testing.T) {
	s := shoptest.Kittiwake(t, t.TempDir())
	path := imageOf(t, s, nil)
	for _, number := range []int{-1, 2, 99} {
		asked := askedOf(s, true)
		asked.Card = number
		_, err := verify.Target(t.Context(), path, asked, unwatched)
		no, ok := errors.AsType[*verify.NoSuchCard](err)
		if assert.True(t, ok, "%v", err) {
			assert.Equal(t, []int{number, 1}, []int{no.Card, no.Cards})
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := verify.Target(ctx, path, askedOf(s, true), unwatched)
	assert.ErrorIs(t, err, context.Canceled, "what was interrupted is no verdict")

	_, err = verify.Target(t.Context(), path+"x", askedOf(s, true), unwatched)
	assert.ErrorIs(t, err, drive.ErrMissing)

	short := filepath.Join(t.TempDir(), "short.img")
	require.NoError(t, os.WriteFile(short, []byte("x"), 0o600))
	_, err = verify.Target(t.Context(), short, askedOf(s, true), unwatched)
	assert.ErrorIs(t, err, drive.ErrNotImage)
}

// Cards show one after the other where their folders are; a card of another plan
// shows nothing of this one.
func TestThePlanAsItStandsOnCards(t *testing.T) {
	plan := order.Plan{Vessel: "kittiwake", Steps: []order.Step{{Number: 1, Device: "flybridge", To: "4.0", Folder: "01-flybridge"}, {Number: 2, Device: "pilot", To: "5.2", Folder: "02-pilot"}}}
	on := func(brings ...verify.Bring) verify.Verified {
		return verify.Verified{Wanted: verify.Wanted{Plan: plan}, Report: verify.Report{Brings: brings}}
	}
	first := on(verify.Bring{Step: 1, Whole: true, Folder: "A"}, verify.Bring{Step: 2, Folder: "elsewhere"}).PlanOnIt(plan)
	assert.Equal(t, []string{"A", "02-pilot"}, []string{first.Steps[0].Folder, first.Steps[1].Folder})
	both := on(verify.Bring{Step: 1}, verify.Bring{Step: 2, Whole: true, Folder: "B"}).PlanOnIt(first)
	assert.Equal(t, []string{"A", "B"}, []string{both.Steps[0].Folder, both.Steps[1].Folder})
	assert.Equal(t, "01-flybridge", plan.Steps[0].Folder, "the plan itself stays as it was made")
	other := order.Plan{Vessel: "kittiwake", Steps: []order.Step{{Number: 1, Device: "radar", Folder: "X"}}}
	assert.Equal(t, "01-flybridge", on().PlanOnIt(other).Steps[0].Folder)
}
