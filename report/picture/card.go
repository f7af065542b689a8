package picture

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/plot/vg"

	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/say"
)

// The card's page, points: half of A4 across.
const (
	cardWide   = 420
	cardHigh   = 298
	cardMargin = 22
)

// DeviationCard draws the card of a swing: the compass heading to steer for each
// magnetic heading, and the deviation curve with the measured headings.
func DeviationCard(craft string, a answer.Swing) *draw.Picture {
	pic := draw.New(say.Named(craft)+": deviation card",
		fmt.Sprintf("Deviation card from %s, largest deviation %s degrees.", say.Counted(len(a.Table), "heading"), say.Shown(a.MaxDeviationDeg, 1)))
	pic.Width, pic.Height = cardWide, cardHigh
	d := cardDrawing{draw.NewPen(pic), pic, a}
	d.Fill(draw.White, []vg.Point{{}, {X: cardWide}, {X: cardWide, Y: cardHigh}, {Y: cardHigh}})
	d.Text(vg.Point{X: cardMargin, Y: cardHigh - 30}, d.Shortened(pic.Title(), 14, true, cardWide-2*cardMargin), draw.Style{Size: 14, Bold: true})
	d.Text(vg.Point{X: cardMargin, Y: cardHigh - 44}, d.Shortened("swing by "+a.Reference+a.UnderLoad(), 8, false, cardWide-2*cardMargin), draw.Style{Size: 8, Ink: draw.Grey})
	d.table()
	d.curve()
	d.foot()
	return pic
}

// cardDrawing is the state of drawing one card.
type cardDrawing struct {
	*draw.Pen
	pic *draw.Picture
	a   answer.Swing
}

// table draws two rows of magnetic and compass headings.
func (d cardDrawing) table() {
	const wide, high, top = (cardWide - 2*cardMargin - 60) / 6.0, 17.0, cardHigh - 62.0
	for half := range 2 {
		y := top - float64(half)*(2*high+6)
		d.Text(vg.Point{X: cardMargin, Y: vg.Length(y - 12)}, "for magnetic", draw.Style{Size: 8})
		d.Text(vg.Point{X: cardMargin, Y: vg.Length(y - high - 12)}, "steer", draw.Style{Size: 8, Bold: true})
		for i, r := range d.a.Card[min(len(d.a.Card), 6*half):min(len(d.a.Card), 6*half+6)] {
			x := cardMargin + 60 + wide*(float64(i)+.5)
			steer := fmt.Sprintf("%03.0f", math.Mod(math.Round(r.CompassDeg), 360))
			d.Text(vg.Point{X: vg.Length(x), Y: vg.Length(y - 12)}, fmt.Sprintf("%03.0f", r.HeadingDeg), draw.Style{Size: 10, Left: .5})
			d.Text(vg.Point{X: vg.Length(x), Y: vg.Length(y - high - 12)}, steer, draw.Style{Size: 11, Bold: true, Left: .5})
			d.pic.Note("for %03.0f steer %s", r.HeadingDeg, steer)
		}
		d.Line([]vg.Point{{X: cardMargin, Y: vg.Length(y - high)}, {X: cardWide - cardMargin, Y: vg.Length(y - high)}}, 0.5, draw.Pale)
		d.Line([]vg.Point{{X: cardMargin, Y: vg.Length(y - 2*high)}, {X: cardWide - cardMargin, Y: vg.Length(y - 2*high)}}, 0.9, draw.Black)
	}
}

// The area of the curve, points.
const (
	curveLeft, curveRight = cardMargin + 26, cardWide - cardMargin
	curveLow, curveTop    = 66, cardHigh - 158
)

// reach returns the largest deviation on the curve's axis, a round number of
// degrees.
func (d cardDrawing) reach() float64 {
	most := 1.0
	for _, r := range d.a.Table {
		if r.DeviationDeg != nil && !r.LeftOut {
			most = max(most, math.Abs(*r.DeviationDeg)+d.half())
		}
	}
	for _, step := range []float64{1, 2, 5, 10, 20, 30, 45, 60, 90} {
		if most <= step {
			return step
		}
	}
	return 180
}

// half returns half the 95 % interval of one heading's deviation, from the scatter
// about the curve, degrees; 0 if it is unknown.
func (d cardDrawing) half() float64 {
	if d.a.ResidualDeg == nil || d.a.Freedom == nil || !(*d.a.Freedom >= 1) {
		return 0
	}
	return *d.a.ResidualDeg * distuv.StudentsT{Sigma: 1, Nu: *d.a.Freedom}.Quantile(0.975)
}

// at returns the place on paper of a heading and a deviation.
func (d cardDrawing) at(headingDeg, deviation, reach float64) vg.Point {
	middle := float64(curveLow+curveTop) / 2
	return vg.Point{
		X: vg.Length(curveLeft + (curveRight-curveLeft)*headingDeg/360),
		Y: vg.Length(middle + float64(curveTop-curveLow)/2*max(-1, min(1, deviation/reach))),
	}
}

// curve draws the fitted deviations and the measured headings.
func (d cardDrawing) curve() {
	reach := d.reach()
	for _, v := range []float64{-reach, 0, reach} {
		ink := draw.Pale
		if v == 0 {
			ink = draw.Grey
		}
		d.Line([]vg.Point{d.at(0, v, reach), d.at(360, v, reach)}, 0.6, ink)
		label := say.Short(math.Abs(v)) + "°"
		switch {
		case v > 0:
			label += " E"
		case v < 0:
			label += " W"
		}
		d.Text(d.at(0, v, reach).Sub(vg.Point{X: 3}), label, draw.Style{Size: 7, Left: 1, Low: .5})
	}
	for z := 0.0; z <= 360; z += 90 {
		d.Text(d.at(z, -reach, reach).Sub(vg.Point{Y: 12}), fmt.Sprintf("%03.0f", math.Mod(z, 360)), draw.Style{Size: 7, Left: .5})
	}
	var points []vg.Point
	for i, r := range d.a.Card {
		points = append(points, d.at(r.HeadingDeg, r.DeviationDeg, reach))
		if i == len(d.a.Card)-1 {
			points = append(points, d.at(360, d.a.Card[0].DeviationDeg, reach))
		}
	}
	d.Line(smooth(points), 1.2, draw.Solid)
	for _, r := range d.a.Table {
		if r.HeadingDeg == nil || r.DeviationDeg == nil {
			continue
		}
		fill := draw.Black
		if r.LeftOut {
			fill = draw.White
		} else if half := d.half(); half > 0 {
			low, high := d.at(*r.HeadingDeg, *r.DeviationDeg-half, reach), d.at(*r.HeadingDeg, *r.DeviationDeg+half, reach)
			d.Line([]vg.Point{low, high}, 0.7, draw.Black)
			for _, e := range []vg.Point{low, high} {
				d.Line(draw.Level(e, 1.6), 0.7, draw.Black)
			}
		}
		d.Disc(d.at(*r.HeadingDeg, *r.DeviationDeg, reach), 2.2, fill, draw.Black, 0.7)
	}
	d.pic.Note("deviations to %g degrees, %d headings, bars of %.2f degrees", reach, len(d.a.Table), d.half())
}

// smooth adds seven points between each two, on Catmull-Rom splines.
// Source: Catmull and Rom (1974), A class of local interpolating splines.
func smooth(p []vg.Point) []vg.Point {
	if len(p) < 3 {
		return p
	}
	var out []vg.Point
	at := func(i int) vg.Point { return p[max(0, min(len(p)-1, i))] }
	for i := range len(p) - 1 {
		for k := range 8 {
			t := vg.Length(k) / 8
			a, b, c, e := at(i-1), at(i), at(i+1), at(i+2)
			mix := func(a, b, c, e vg.Length) vg.Length {
				return b + t/2*(c-a+t*(2*a-5*b+4*c-e+t*(3*(b-c)+e-a)))
			}
			out = append(out, vg.Point{X: mix(a.X, b.X, c.X, e.X), Y: mix(a.Y, b.Y, c.Y, e.Y)})
		}
	}
	return append(out, p[len(p)-1])
}

// foot writes coefficients, verdict and the limits of the card.
func (d cardDrawing) foot() {
	line := "degrees:  " + d.a.CoefficientWords()
	verdict := say.YesNo(d.a.OK, "within the limit of ", "NOT PASSED; limit ") + say.Short(d.a.LimitDeg) + "°"
	d.Text(vg.Point{X: cardMargin, Y: 38}, line, draw.Style{Size: 8})
	if half := d.half(); half > 0 {
		line := fmt.Sprintf("bars: ± %.1f°, the 95 %% interval of one heading, from the scatter about the curve", half)
		d.Text(vg.Point{X: curveLeft, Y: curveTop + 5}, line, draw.Style{Size: 7, Ink: draw.Grey})
	}
	d.Text(vg.Point{X: cardMargin, Y: 27}, fmt.Sprintf("largest %s°; %s", say.Shown(d.a.MaxDeviationDeg, 1), verdict), draw.Style{Size: 8, Bold: true})
	d.Text(vg.Point{X: cardMargin, Y: 14}, "For a small uncrewed craft. No substitute for a certified compass adjustment.", draw.Style{Size: 7, Ink: draw.Grey})
}
