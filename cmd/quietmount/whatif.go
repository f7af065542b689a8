package main

import (
	"cmp"
	"context"
	"strings"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/source"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
	"quietmount/survey/whatif"
)

func runWhatif(c *cli.Context, sh shell) error {
	if c.Int("spots") < 1 {
		return wrong("e.g. --spots 5", "--spots %d: at least one", c.Int("spots"))
	}
	trial, err := trialOf(c)
	if err != nil {
		return err
	}
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	o := rank.Options{Most: c.Int("spots")}
	was, err := ranked(c.Context, sh, found, o)
	if err != nil {
		return err
	}
	var notes []remark.Remark
	after, err := computed(c.Context, sh, "predicting the change", func(ctx context.Context, _ func(string)) (after *evaluate.Findings, err error) {
		after, notes, err = whatif.Predict(ctx, found, trial.Changes)
		return after, err
	})
	if err != nil {
		return withHint(err, "parts and loads are those of the craft file")
	}
	now, err := ranked(c.Context, sh, after, o)
	if err != nil {
		return err
	}
	a := answer.NewWhatIf(c.Context, words.Terminal, trial, notes, found, after, was, now)
	if err := c.Context.Err(); err != nil {
		return err
	}
	return show(c, sh, a, !was.Qualified || now.Qualified)
}

// trialOf reads the changes from the flags.
func trialOf(c *cli.Context) (answer.Trial, error) {
	var t answer.Trial
	if c.IsSet("without") {
		t.Without(c.String("without"))
	}
	if c.IsSet("move") {
		if !c.IsSet("to") {
			return t, wrong("e.g. --move \"hatch magnet\" --to 60,0,-10", "--move wants --to")
		}
		to, err := placeFlag("to", c.String("to"))
		if err != nil {
			return t, err
		}
		t.Move(c.String("move"), to)
	}
	if c.IsSet("turn") {
		if !c.IsSet("along") {
			return t, wrong("e.g. --turn \"hatch magnet\" --along -z", "--turn wants --along")
		}
		along, err := axisOf(c.String("along"))
		if err != nil {
			return t, err
		}
		t.Turn(c.String("turn"), along)
	}
	if err := cmp.Or(addMagnet(c, &t), addLead(c, &t), changeMount(c, &t)); err != nil {
		return t, err
	}
	if len(t.Words) == 0 {
		return t, wrong("e.g. quietmount whatif --add-magnet 10,2,N52 --at 110,0,-10", "what should change? Give --add-magnet, --add-lead, --move, --turn, --without, --cable-mm or --height")
	}
	return t, needless(c)
}

// needless refuses a flag without its companion flag, since it would have no
// effect.
func needless(c *cli.Context) error {
	for _, f := range []struct{ flag, with string }{
		{"at", "add-magnet"}, {"to", "move"}, {"current-a", "add-lead"}, {"gap-mm", "add-lead"}, {"load", "add-lead"},
	} {
		if c.IsSet(f.flag) && !c.IsSet(f.with) {
			return wrong("add --"+f.with+" or leave it out", "--%s belongs to --%s", f.flag, f.with)
		}
	}
	if c.IsSet("along") && !c.IsSet("add-magnet") && !c.IsSet("turn") {
		return wrong("add one of them or leave it out", "--along belongs to --add-magnet or --turn")
	}
	return nil
}

func addMagnet(c *cli.Context, t *answer.Trial) error {
	if !c.IsSet("add-magnet") {
		return nil
	}
	const example = "e.g. --add-magnet 10,2,N52 --at 110,0,-10: diameter, thickness, grade"
	spec := c.String("add-magnet")
	cut := strings.LastIndex(spec, ",")
	if cut < 0 {
		return wrong(example, "--add-magnet %q: D,H,GRADE is wanted", spec)
	}
	size, err := numbers(spec[:cut], 2)
	if err != nil || !(size[0] > 0) || !(size[1] > 0) {
		return wrong(example, "--add-magnet %q: diameter and thickness are wanted in mm, above zero", spec)
	}
	if _, _, err := source.Grade(spec[cut+1:]); err != nil {
		return wrong(example, "--add-magnet: %v", err)
	}
	if !c.IsSet("at") {
		return wrong(example, "--add-magnet wants --at")
	}
	at, err := placeFlag("at", c.String("at"))
	if err != nil {
		return err
	}
	along := answer.Axis("z")
	if c.IsSet("along") {
		if along, err = axisOf(c.String("along")); err != nil {
			return err
		}
	}
	return t.AddDisc(size[0], size[1], spec[cut+1:], at, along)
}

// changeMount reads the changes of where the module may be mounted.
func changeMount(c *cli.Context, t *answer.Trial) error {
	if c.IsSet("cable-mm") {
		mm := c.Float64("cable-mm")
		if !(mm > 0) || mm > 1e5 {
			return wrong("e.g. --cable-mm 360", "--cable-mm %g: the length of the module's whole cable is wanted, above zero", mm)
		}
		t.Cable(mm)
	}
	if c.IsSet("height") {
		mm := c.Float64("height")
		if !(mm >= 0) || mm > 1e4 {
			return wrong("e.g. --height 60", "--height %g: a height above the surface is wanted, 0 to 10000 mm", mm)
		}
		t.Height(mm)
	}
	return nil
}

func addLead(c *cli.Context, t *answer.Trial) error {
	if !c.IsSet("add-lead") {
		return nil
	}
	const example = "e.g. --add-lead 60,0,40:-280,-120,60 --current-a 18 --gap-mm 3"
	var path []r3.Vec
	for word := range strings.SplitSeq(c.String("add-lead"), ":") {
		p, err := placeFlag("add-lead", word)
		if err != nil {
			return err
		}
		if n := len(path); n > 0 && path[n-1] == p {
			return wrong(example, "--add-lead has the same place twice in a row")
		}
		path = append(path, p)
	}
	if len(path) < 2 {
		return wrong(example, "--add-lead wants two places or more")
	}
	amps, gap := c.Float64("current-a"), c.Float64("gap-mm")
	if !c.IsSet("current-a") || !(amps > 0) || amps > 1e4 {
		return wrong(example, "--add-lead wants --current-a, above zero")
	}
	if !(gap >= 0) || gap > 1e4 {
		return wrong(example, "--gap-mm %g: zero or more is wanted", gap)
	}
	t.AddLead(path, amps, gap, c.String("load"))
	return nil
}
