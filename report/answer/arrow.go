package answer

import (
	"io"
	"math"
	"slices"

	"quietmount/magmath/arrow"
	"quietmount/magmath/remark"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey"
)

// Arrow is the answer of `arrow`.
type Arrow struct {
	Event         string         `json:"event,omitempty"` // "answer" where it follows a walk's events
	Rotation      *[3][3]float64 `json:"rotation"`
	ArrowPoints   string         `json:"arrow_points"`
	LabelFaces    string         `json:"label_faces"`
	TwistDeg      *float64       `json:"twist_deg"`
	TwistSUDeg    *float64       `json:"twist_standard_uncertainty_deg"`
	RemainderDeg  *float64       `json:"remainder_deg"`
	ResidualDeg   *float64       `json:"residual_deg"`
	Mirrored      bool           `json:"mirrored"`
	OK            bool           `json:"ok"`
	LimitDeg      float64        `json:"limit_deg"`
	Axes          string         `json:"axes"` // the nearest right angles, as the craft file would have them
	Poses         []string       `json:"poses"`
	LeftOut       *leftOutPose   `json:"left_out"`
	StrengthRatio *float64       `json:"strength_ratio"`
	OffsetUT      *Vec           `json:"offset_ut"` // of a probe without calibration
	Why           []string       `json:"why"`
	WhyCoded      []Coded        `json:"why_coded"`
	File          string         `json:"file,omitempty"`
	Stored        bool           `json:"stored"` // the axes went into the craft file

	unknown bool // the craft file has no axes yet
}

type leftOutPose struct {
	Pose  string `json:"pose"`
	Looks string `json:"looks_like,omitempty"`
}

// ArrowInput is the result of an arrow check with its settings.
type ArrowInput struct {
	Face       words.Face // in whose words the remarks are
	Arrow      arrow.Result
	Poses      []arrow.Pose
	LimitDeg   float64
	Calibrated bool
	NoAxes     bool // the craft file has none
	Stores     bool // the axes are found anew, with the arrow to the nose: nothing is compared with them
	File       string
}

// NewArrow judges an arrow check: the arrow to the nose, the label up,
// the twist within the limit, the axes not mirrored, the poses in agreement.
func NewArrow(in ArrowInput) Arrow {
	a := in.Arrow
	out := Arrow{
		Rotation: matOf(a.Rotation), ArrowPoints: string(a.ArrowPoints), LabelFaces: string(a.LabelFaces),
		TwistDeg: Number(a.TwistDeg), TwistSUDeg: Number(a.TwistStandardDeg), RemainderDeg: Number(a.RemainderDeg),
		ResidualDeg: Number(a.ResidualDeg), Mirrored: a.Mirrored, LimitDeg: in.LimitDeg,
		Axes: survey.FormatAxes(arrow.NearestMounting(a.Rotation)), StrengthRatio: Number(a.Scale),
		File: in.File,
	}
	for _, p := range in.Poses {
		out.Poses = append(out.Poses, string(p.Name))
	}
	if a.Left != nil {
		out.LeftOut = &leftOutPose{string(a.Left.Name), string(a.Left.Fits)}
	}
	if !in.Calibrated {
		out.OffsetUT = vecPointer(&a.OffsetUT)
	}
	out.OK = a.Agree && !a.Mirrored
	why := slices.Clone(a.Remarks)
	if !in.Stores {
		wrong := misplaced(a, in.LimitDeg)
		why, out.OK = append(why, wrong...), out.OK && len(wrong) == 0
	}
	out.Why, out.WhyCoded = in.Face.All(why), CodedAll(in.Face, why)
	out.unknown = in.NoAxes && !in.Stores
	return out
}

// misplaced says where the arrow and the label are other than they belong.
func misplaced(r arrow.Result, limit float64) []remark.Remark {
	var out []remark.Remark
	if r.ArrowPoints != arrow.ToNose {
		out = append(out, remark.New("arrow.points", remark.Values{"way": wayWords(r.ArrowPoints)}))
	}
	if r.LabelFaces != arrow.ToUp {
		out = append(out, remark.New("arrow.label", remark.Values{"way": wayWords(r.LabelFaces)}))
	}
	if math.Abs(r.TwistDeg) > limit {
		out = append(out, remark.New("arrow.twisted", remark.Values{"by_deg": r.TwistDeg, "limit_deg": limit}))
	}
	return out
}

func wayWords(w arrow.Way) string {
	switch w {
	case arrow.ToNose, arrow.ToTail, arrow.ToLeft, arrow.ToRight:
		return "to the " + string(w)
	}
	return string(w)
}

// Text says the same for a reader.
func (a Arrow) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("arrow_points  %s", a.ArrowPoints)
	p.Line("label_faces   %s", a.LabelFaces)
	p.Line("twist         %s degrees clockwise seen from above, +- %s (one standard uncertainty)", say.Shown(a.TwistDeg, 1), say.Shown(a.TwistSUDeg, 1))
	p.Line("              %s degrees from the right angle in all; the poses agree within %s degrees", say.Shown(a.RemainderDeg, 1), say.Shown(a.ResidualDeg, 1))
	p.Line("mirrored      %s", say.YesNo(a.Mirrored, "yes", "no"))
	p.Line("axes          %s", a.Axes)
	for _, why := range a.Why {
		p.Sentence("look: " + why)
	}
	if a.unknown {
		p.Sentence("look: if the arrow did point to the nose and the label up, store these axes with --store")
	}
	if a.Stored {
		p.Line("The axes are stored in the craft file.")
	}
	p.Line("%s", say.YesNo(a.OK, "The arrow is right.", "The arrow is not right as it is."))
	return p.Err()
}
