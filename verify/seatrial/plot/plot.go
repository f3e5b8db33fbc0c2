// Package plot draws what a sea trial found: one picture (PNG) for paper and screen,
// in grey, where shapes and not colours tell lines apart. The same trial gives the
// same bytes on every machine. Package sheet puts the picture on a page.
package plot

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"slices"
	"sync"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"cardwright/verify/seatrial"
)

// The size of a picture: the width of a printed page, at a resolution that a
// printer makes good use of.
const (
	wide       = 175 * vg.Millimeter
	high       = 88 * vg.Millimeter
	resolution = 200 // dots an inch
)

// legendRoom is how far a plot goes beyond its values, for the legend.
const legendRoom = 1.5

var (
	band  = color.Gray{0xD8}
	guide = color.Gray{0x60}
)

// plots share the library's table of fonts.
var plots sync.Mutex

// Deviation draws a swing: the curve, the band of its doubt, what was seen on
// each heading (so that the residuals can be seen) and the tolerance.
func Deviation(s seatrial.Swing, tolerance float64) ([]byte, error) {
	plots.Lock()
	defer plots.Unlock()
	p := blank("deviation, degrees (east +)", "heading by compass, degrees")
	p.X.Min, p.X.Max = 0, 360
	p.X.Tick.Marker = plot.ConstantTicks(compassTicks())
	curves, top := fineCurves(s)
	for i, c := range curves {
		if err := addCurve(p, c, i == 0); err != nil {
			return nil, err
		}
	}
	seen := make(plotter.XYs, 0, len(s.Seen))
	for _, x := range s.Seen {
		top = max(top, math.Abs(x.Deviation))
		seen = append(seen, plotter.XY{X: seatrial.Wrap360(x.Compass), Y: x.Deviation})
	}
	if len(seen) > 0 {
		dots, err := plotter.NewScatter(seen)
		if err != nil {
			return nil, fmt.Errorf("drawing deviation: %w", err)
		}
		dots.GlyphStyle = vgdraw.GlyphStyle{Color: color.Black, Radius: vg.Points(3), Shape: vgdraw.CrossGlyph{}}
		p.Add(dots)
		p.Legend.Add("seen", dots)
	}
	const margin = 1.15
	top = math.Ceil(max(top, tolerance) * margin)
	p.Y.Min, p.Y.Max = -top, top*legendRoom
	for _, y := range []float64{-tolerance, 0, tolerance} {
		if err := level(p, y, y != 0); err != nil {
			return nil, err
		}
	}
	return picture(p)
}

func compassTicks() (all []plot.Tick) {
	for a := 0; a <= 360; a += 15 {
		t := plot.Tick{Value: float64(a)}
		if a%45 == 0 {
			t.Label = fmt.Sprintf("%03d", a)
		}
		all = append(all, t)
	}
	return all
}

// curve is a part of the deviation without a gap.
type curve struct{ x, y, u []float64 }

// fineCurves are the parts of the curve that are covered, and how far they reach.
func fineCurves(s seatrial.Swing) (all []curve, top float64) {
	const step = 3
	var now curve
	for a := 0; a <= 360; a += step {
		if !s.Covers(float64(a)) {
			if len(now.x) > 1 {
				all = append(all, now)
			}
			now = curve{}
			continue
		}
		y, u := s.Fit.Coefficients.At(float64(a)), s.Fit.DoubtAt(float64(a))
		if math.IsInf(u, 0) || math.IsNaN(u) {
			u = 0
		}
		now.x, now.y, now.u = append(now.x, float64(a)), append(now.y, y), append(now.u, u)
		top = max(top, math.Abs(y)+u)
	}
	if len(now.x) > 1 {
		all = append(all, now)
	}
	return all, top
}

func addCurve(p *plot.Plot, c curve, named bool) error {
	var around, line plotter.XYs
	for i := range c.x {
		around = append(around, plotter.XY{X: c.x[i], Y: c.y[i] + c.u[i]})
		line = append(line, plotter.XY{X: c.x[i], Y: c.y[i]})
	}
	for i := range slices.Backward(c.x) {
		around = append(around, plotter.XY{X: c.x[i], Y: c.y[i] - c.u[i]})
	}
	area, err := plotter.NewPolygon(around)
	if err != nil {
		return fmt.Errorf("drawing deviation: %w", err)
	}
	area.Color, area.LineStyle.Width = band, 0
	l, err := plotter.NewLine(line)
	if err != nil {
		return fmt.Errorf("drawing deviation: %w", err)
	}
	l.Width = vg.Points(1.6)
	p.Add(area, l)
	if named {
		p.Legend.Add("found", l)
		p.Legend.Add("its doubt", area)
	}
	return nil
}

// level draws a line across the plot; dashed where it is the tolerance.
func level(p *plot.Plot, y float64, dashed bool) error {
	l, err := plotter.NewLine(plotter.XYs{{X: p.X.Min, Y: y}, {X: p.X.Max, Y: y}})
	if err != nil {
		return fmt.Errorf("drawing a level: %w", err)
	}
	l.Color, l.Width = guide, vg.Points(0.7)
	if dashed {
		l.Dashes = []vg.Length{vg.Points(5), vg.Points(3)}
		if y > 0 {
			p.Legend.Add("tolerance", l)
		}
	}
	p.Add(l)
	return nil
}

// Year is one trial's coefficients.
type Year struct {
	At    time.Time
	Value [5]float64
	U     [5]float64
}

// Years draws how A to E went over the years, each with its doubt.
func Years(all []Year) ([]byte, error) {
	plots.Lock()
	defer plots.Unlock()
	p := blank("degrees", "")
	p.X.Tick.Marker = plot.ConstantTicks(dayTicks(all))
	shapes := []vgdraw.GlyphDrawer{vgdraw.CircleGlyph{}, vgdraw.SquareGlyph{}, vgdraw.TriangleGlyph{}, vgdraw.CrossGlyph{}, vgdraw.PlusGlyph{}}
	dashes := [][]vg.Length{nil, {vg.Points(6), vg.Points(2)}, {vg.Points(2), vg.Points(2)}, {vg.Points(8), vg.Points(2), vg.Points(2), vg.Points(2)}, {vg.Points(1), vg.Points(3)}}
	for c, letter := range seatrial.Letters {
		var points plotter.XYs
		var errors plotter.YErrors
		for _, y := range all {
			points = append(points, plotter.XY{X: float64(y.At.Unix()), Y: y.Value[c]})
			errors = append(errors, struct{ Low, High float64 }{y.U[c], y.U[c]})
		}
		line, dots, err := plotter.NewLinePoints(points)
		if err != nil {
			return nil, fmt.Errorf("drawing the years: %w", err)
		}
		line.Dashes, line.Width = dashes[c], vg.Points(1)
		dots.GlyphStyle = vgdraw.GlyphStyle{Color: color.Black, Radius: vg.Points(3), Shape: shapes[c]}
		bars, err := plotter.NewYErrorBars(struct {
			plotter.XYer
			plotter.YErrorer
		}{points, errors})
		if err != nil {
			return nil, fmt.Errorf("drawing the years: %w", err)
		}
		bars.Color = guide
		p.Add(line, dots, bars)
		p.Legend.Add(letter, line, dots)
	}
	const dayLong = 86400
	if p.X.Max-p.X.Min < dayLong {
		p.X.Min, p.X.Max = p.X.Min-dayLong, p.X.Max+dayLong
	}
	const beside = 0.06
	p.X.Min, p.X.Max = p.X.Min-beside*(p.X.Max-p.X.Min), p.X.Max+2*beside*(p.X.Max-p.X.Min)
	return picture(p)
}

// dayTicks are the days of the trials, no more than can be read.
func dayTicks(all []Year) (ticks []plot.Tick) {
	const most = 6
	last := math.Inf(-1)
	apart := 0.0
	if n := len(all); n > 1 {
		apart = all[n-1].At.Sub(all[0].At).Seconds() / most
	}
	for _, y := range all {
		t := plot.Tick{Value: float64(y.At.Unix())}
		if t.Value-last >= apart {
			t.Label, last = y.At.Format(time.DateOnly), t.Value
		}
		ticks = append(ticks, t)
	}
	return ticks
}

// blank is a plot with its labels.
func blank(y, x string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = color.White
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, t := range []*text.Style{&p.X.Label.TextStyle, &p.Y.Label.TextStyle, &p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		t.Font = font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(9)}
	}
	p.Legend.Top, p.Legend.XOffs = true, -vg.Points(4)
	p.Legend.ThumbnailWidth = 24
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{0xEC}, color.Gray{0xEC}
	p.Add(grid)
	return p
}

// picture makes a PNG in grey. The same plot gives the same bytes.
func picture(p *plot.Plot) ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(wide, high), vgimg.UseDPI(resolution), vgimg.UseBackgroundColor(color.White))
	p.Draw(vgdraw.New(c))
	grey := image.NewGray(c.Image().Bounds())
	draw.Draw(grey, grey.Bounds(), c.Image(), c.Image().Bounds().Min, draw.Src)
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestCompression}
	if err := encoder.Encode(&out, grey); err != nil {
		return nil, fmt.Errorf("writing the picture: %w", err)
	}
	return out.Bytes(), nil
}
