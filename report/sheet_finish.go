package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"
)

//go:embed sheet/finish.html.tmpl
var finishTemplate string

// finishView is the section of the finished craft: arrow and swing.
type finishView struct {
	Arrow *arrowView
	Swing *swingView
}

type arrowView struct {
	Verdict, Points, Faces, Twist, TwistSU, Poses string
	Why                                           []string
}

type swingView struct {
	Verdict, Largest, At, Limit, Reference, Published, Coefficients string
	Card                                                            template.HTML
	Rows                                                            []swingRowView
	Reading, Why                                                    []string
}

type swingRowView struct {
	Heading, Compass, Deviation, Fitted string
	LeftOut                             bool
}

// finishOf is nil where neither an arrow check nor a swing was made.
func finishOf(craft string, o RecordOptions) (*finishView, error) {
	if o.Arrow == nil && o.Swing == nil {
		return nil, nil
	}
	v := &finishView{}
	if a := o.Arrow; a != nil {
		v.Arrow = &arrowView{
			Verdict: yesNo(a.OK, "The arrow is right.", "The arrow is not right."), Points: "to the " + a.ArrowPoints, Faces: a.LabelFaces,
			Twist: shown(a.TwistDeg, 1), TwistSU: shown(a.TwistSUDeg, 1), Poses: "Poses: " + listed(a.Poses) + ".", Why: a.Why,
		}
		if a.ArrowPoints == "up" || a.ArrowPoints == "down" {
			v.Arrow.Points = a.ArrowPoints
		}
	}
	if o.Swing == nil {
		return v, nil
	}
	var err error
	v.Swing, err = swingViewOf(craft, *o.Swing)
	return v, err
}

func swingViewOf(craft string, a SwingAnswer) (*swingView, error) {
	card, err := DeviationCard(craft, a).svg()
	if err != nil {
		return nil, err
	}
	v := &swingView{
		Verdict: yesNo(a.OK, "The compass is within the limit.", "The compass is not within the limit, or the swing cannot be trusted."),
		Largest: shown(a.MaxDeviationDeg, 1), At: heading3(a.MaxAtDeg), Limit: short(a.LimitDeg), Reference: a.Reference + a.underLoad(),
		Published: a.Published.Source, Coefficients: a.coefficientWords(), Card: template.HTML(card), // our own drawing: every text in it is escaped
		Reading: a.Reading, Why: a.Why,
	}
	for _, r := range a.Table {
		v.Rows = append(v.Rows, swingRowView{heading3(r.HeadingDeg), compass1(r.CompassDeg), eastWest(r.DeviationDeg), eastWest(r.FittedDeg), r.LeftOut})
	}
	return v, nil
}

// coefficientWords are the coefficients in one line.
func (a SwingAnswer) coefficientWords() string {
	c := a.Coefficients
	var words []string
	for _, k := range []struct {
		name string
		v    *swingCoefficient
	}{{"A", c.A}, {"B", c.B}, {"C", c.C}, {"D", c.D}, {"E", c.E}} {
		if k.v == nil {
			words = append(words, k.name+" not known")
			continue
		}
		words = append(words, fmt.Sprintf("%s %s ± %.1f", k.name, signed(k.v.Estimate), k.v.SU))
	}
	return strings.Join(words, ", ")
}

// recordFinish adds what the record keeps of arrow and swing: the answers, and
// the card as pictures.
func recordFinish(files []File, craft string, o RecordOptions) ([]File, error) {
	if o.Arrow != nil {
		var b bytes.Buffer
		if err := WriteJSON(&b, o.Arrow); err != nil {
			return nil, err
		}
		files = append(files, File{"arrow.json", b.Bytes()})
	}
	if o.Swing == nil {
		return files, nil
	}
	var b bytes.Buffer
	if err := WriteJSON(&b, o.Swing); err != nil {
		return nil, err
	}
	files = append(files, File{"swing.json", b.Bytes()})
	card := DeviationCard(craft, *o.Swing)
	for _, format := range []Format{PNG, SVG, PDF} {
		var p bytes.Buffer
		if err := card.Write(&p, format); err != nil {
			return nil, err
		}
		files = append(files, File{"deviation-card." + string(format), p.Bytes()})
	}
	return files, nil
}
