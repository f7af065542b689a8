package answer

import (
	"fmt"
	"io"
	"math"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/balance"
)

// Balance is the answer of `balance`.
type Balance struct {
	Craft       string      `json:"craft"`
	CGX         float64     `json:"cg_x_mm"`
	CGY         float64     `json:"cg_y_mm"`
	Mass        float64     `json:"mass_g"`
	MomentX     float64     `json:"moment_x_g_mm"`
	MomentY     float64     `json:"moment_y_g_mm"`
	RangeX      [2]*float64 `json:"allowed_cg_x_mm"` // null: no limit
	RangeY      [2]*float64 `json:"allowed_cg_y_mm"`
	Module      *Vec        `json:"module_at_mm"` // null: not counted
	BareX       float64     `json:"cg_x_without_module_mm"`
	BareY       float64     `json:"cg_y_without_module_mm"`
	Battery     *string     `json:"battery"`
	BatteryMove *float64    `json:"battery_move_mm"` // null: no part can slide
	Restored    bool        `json:"restored_by_move"`
	Short       float64     `json:"slide_short_by_mm"`
	AfterX      float64     `json:"cg_x_after_move_mm"`
	AfterY      float64     `json:"cg_y_after_move_mm"`
	Ballast     *float64    `json:"ballast_g"`
	BallastAt   *[2]float64 `json:"ballast_at_mm"`
	OK          bool        `json:"ok"`
	Cautions

	slide [2]float64
}

// NewBalance returns a balance in the form that JSON and text are written from,
// its remarks in the words of a face.
func NewBalance(face words.Face, craft string, b *balance.Finding) Balance {
	r := b.Remedy
	a := Balance{
		Craft: craft,
		CGX:   say.Tidy(b.Centre.AtMM.X), CGY: say.Tidy(b.Centre.AtMM.Y), Mass: say.Tidy(b.Centre.MassG),
		MomentX: say.Tidy(b.Centre.MomentGMM.X), MomentY: say.Tidy(b.Centre.MomentGMM.Y),
		RangeX: [2]*float64{Number(b.Limits.X.Low), Number(b.Limits.X.High)},
		RangeY: [2]*float64{Number(b.Limits.Y.Low), Number(b.Limits.Y.High)},
		Module: vecPointer(b.ModuleMM), BareX: say.Tidy(b.Bare.AtMM.X), BareY: say.Tidy(b.Bare.AtMM.Y),
		Battery: textOrNil(b.Battery), Restored: r.Restored, Short: say.Tidy(r.ShortMM),
		AfterX: say.Tidy(r.CGAfterMM.X), AfterY: say.Tidy(r.CGAfterMM.Y), Ballast: Number(r.BallastG),
		OK: b.OK, Cautions: cautions(face, b.Notes), slide: b.SlideMM,
	}
	if b.OK || b.Battery != "" {
		a.BatteryMove = Number(r.MoveMM)
	}
	if a.Ballast != nil {
		a.BallastAt = &[2]float64{say.Tidy(r.BallastAtMM.X), say.Tidy(r.BallastAtMM.Y)}
	}
	return a
}

// Text prints the balance in sentences.
func (a Balance) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	a.Say(p)
	a.Cautions.print(p)
	return p.Err()
}

// Say gives the balance to p, sentence by sentence.
func (a Balance) Say(p text.Sayer) {
	with := "without the module"
	if a.Module != nil {
		with = fmt.Sprintf("with the module at x %.0f, y %.0f mm", a.Module[0], a.Module[1])
	}
	p.Sentence(fmt.Sprintf("%s, %s: %.0f g, centre of gravity at x %.1f, y %.1f mm.", say.Named(a.Craft), with, a.Mass, a.CGX, a.CGY))
	if a.Module != nil {
		p.Sentence(fmt.Sprintf("The module moves it by %s and %s.", along(a.CGX-a.BareX, "forward", "back"), along(a.CGY-a.BareY, "right", "left")))
	}
	p.Sentence("Allowed: " + RangeWords("x", a.RangeX) + ", " + RangeWords("y", a.RangeY) + ".")
	if a.OK {
		p.Sentence("It is in balance.")
	} else {
		a.remedy(p)
	}
}

func (a Balance) remedy(p text.Sayer) {
	p.Sentence("It is out of balance.")
	switch {
	case a.Battery == nil:
		p.Sentence("No part is described that can slide (slide_mm).")
	case math.Abs(*a.BatteryMove) < 0.05:
		p.Sentence(fmt.Sprintf("Sliding the %s does not help.", *a.Battery))
	default:
		p.Sentence(fmt.Sprintf("Move the %s %s: the centre comes to x %.1f, y %.1f mm.", *a.Battery, along(*a.BatteryMove, "forward", "back"), a.AfterX, a.AfterY))
	}
	if a.Restored {
		p.Sentence("That restores it.")
		return
	}
	if a.Short > 0.05 {
		p.Sentence(fmt.Sprintf("Its slide of %s to %s mm is %.0f mm too short for the rest.", say.Short(a.slide[0]), say.Short(a.slide[1]), a.Short))
	}
	if a.Ballast != nil {
		p.Sentence(fmt.Sprintf("Then %.0f g of ballast at x %.0f, y %.0f mm restores it.", math.Ceil(*a.Ballast), a.BallastAt[0], a.BallastAt[1]))
	}
}

// along returns a distance with the word for its direction.
func along(v float64, plus, minus string) string {
	if v < 0 {
		plus = minus
	}
	return fmt.Sprintf("%.1f mm %s", math.Abs(v), plus)
}

// RangeWords returns the allowed range of the centre of gravity along an axis.
func RangeWords(axis string, r [2]*float64) string {
	switch {
	case r[0] == nil && r[1] == nil:
		return axis + " anywhere"
	case r[0] == nil:
		return fmt.Sprintf("%s up to %s mm", axis, say.Short(*r[1]))
	case r[1] == nil:
		return fmt.Sprintf("%s from %s mm", axis, say.Short(*r[0]))
	}
	return fmt.Sprintf("%s %s to %s mm", axis, say.Short(*r[0]), say.Short(*r[1]))
}

// Remedies returns what restores the balance; nothing if it is in balance.
func (a Balance) Remedies() []string {
	var out text.Sentences
	if !a.OK {
		a.remedy(&out)
	}
	return out
}
