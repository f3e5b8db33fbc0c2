package plot

import (
	"bytes"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/verify/seatrial"
)

func swing(t *testing.T) seatrial.Swing {
	at := []float64{0, 45, 90, 135, 180, 225, 270, 315}
	deviation := []float64{10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8} // Handbook of Magnetic Compass Adjustment, ch. V §501
	var seen []seatrial.Seen
	for i, a := range at {
		seen = append(seen, seatrial.Seen{Compass: a, Deviation: deviation[i]})
	}
	fit, _, ok := seatrial.FitSeen(seen)
	require.True(t, ok)
	return seatrial.Swing{Fit: fit, At: at, Seen: seen, Table: fit.Table(at)}
}

// keep writes a picture where PLOTS says, to be looked at.
func keep(t *testing.T, name string, content []byte) {
	if dir := os.Getenv("PLOTS"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o644))
	}
}

func TestDeviationIsDrawnTheSameEachTime(t *testing.T) {
	first, err := Deviation(swing(t), 5)
	require.NoError(t, err)
	again, err := Deviation(swing(t), 5)
	require.NoError(t, err)
	require.Equal(t, first, again)
	keep(t, "deviation.png", first)
	picture, err := png.Decode(bytes.NewReader(first))
	require.NoError(t, err)
	require.Equal(t, color.GrayModel, picture.ColorModel(), "it has to be readable in grey")
}

func TestYears(t *testing.T) {
	var all []Year
	for i := range 4 {
		x := float64(i)
		all = append(all, Year{time.Date(2026+i, 5, 1, 0, 0, 0, 0, time.UTC), [5]float64{.5, 1 + x, -.7 * x, .4, .2}, [5]float64{.3, .5, .5, .4, .4}})
	}
	content, err := Years(all)
	require.NoError(t, err)
	keep(t, "years.png", content)
	one, err := Years(all[:1])
	require.NoError(t, err)
	keep(t, "year.png", one)
}
