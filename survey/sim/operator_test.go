package sim

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

func desk(o OperatorOptions) (*Bench, *Operator) {
	b := NewBench(plainWorld(), Probe{RateHz: 50}, Hand{LagS: .25}, BenchOptions{})
	return b, NewOperator(b, o)
}

func typed(op *Operator) []guide.Command {
	var out []guide.Command
	for {
		select {
		case c := <-op.Commands():
			out = append(out, c)
		default:
			return out
		}
	}
}

func (b *Bench) run(seconds float64) { collect(b, b.t+seconds) }

func TestOperatorGoesAndAsks(t *testing.T) {
	b, op := desk(OperatorOptions{State: survey.StateUnpowered})
	op.Show(guide.Event{Kind: guide.Checklist, Items: []remark.Remark{remark.New("guide.clear"), remark.New("guide.fitted", remark.Values{"what": "pack A"})}})
	b.run(3)
	if got := typed(op); len(got) != 2 || got[1] != (guide.Command{Kind: guide.CmdConfirm, Text: "guide.fitted pack A"}) {
		t.Fatalf("confirmed %v", got)
	}
	to := r3.Vec{X: 60, Y: 30}
	op.Show(guide.Event{Kind: guide.Go, Station: survey.Station{Name: "B2", At: to}})
	b.run(2)
	if len(typed(op)) != 0 || b.at == to {
		t.Fatal("arrived too early")
	}
	b.run(3)
	near(t, "probe", b.at, to, 1e-9)
	if got := typed(op); len(got) != 1 || got[0].Kind != guide.CmdCapture {
		t.Errorf("typed %v, want one capture", got)
	}
	op.Show(guide.Event{Kind: guide.Rejected, Station: op.here})
	b.run(6)
	if got := typed(op); len(got) != 1 || got[0].Kind != guide.CmdCapture {
		t.Errorf("after a refusal typed %v, want one capture", got)
	}
}

func TestOperatorHandsFreeTypesNothing(t *testing.T) {
	b, op := desk(OperatorOptions{State: survey.StateUnpowered, HandsFree: true})
	op.Show(guide.Event{Kind: guide.Go, Station: survey.Station{Name: "B2", At: r3.Vec{X: 60}}})
	b.run(6)
	near(t, "probe", b.at, r3.Vec{X: 60}, 1e-9)
	if got := typed(op); len(got) != 0 {
		t.Errorf("typed %v", got)
	}
}

func TestOperatorSwitchesWithALag(t *testing.T) {
	b, op := desk(OperatorOptions{State: "motor", CurrentA: 12, Pulsed: true})
	op.Show(guide.Event{Kind: guide.Switch, On: true})
	b.run(.2)
	if b.state.Levels["motor"] != 0 {
		t.Error("switched before anybody could")
	}
	b.run(.1)
	if b.state.Levels["motor"] != 12 {
		t.Error("not switched after a quarter of a second")
	}
	op.Show(guide.Event{Kind: guide.Done})
	if len(b.state.Levels) != 0 {
		t.Error("the load is still on at the end")
	}
	steady, _ := desk(OperatorOptions{State: "motor", CurrentA: 12})
	if steady.state.Levels["motor"] != 12 {
		t.Error("a run that is not pulsed begins with the load off")
	}
	away, _ := desk(OperatorOptions{State: survey.StateBackground})
	if !away.Away() {
		t.Error("the craft is there in the background run")
	}
}

func TestOperatorMakesMistakesAndSetsThemRight(t *testing.T) {
	marks := line(4)
	b, op := desk(OperatorOptions{State: survey.StateUnpowered, Stations: marks, Mistakes: []Mistake{{Go: 2, Kind: WrongMark}}})
	show := func(s survey.Station, v logbook.Visit) {
		op.Show(guide.Event{Kind: guide.Go, Station: s, Visit: v})
		b.run(5)
		typed(op)
	}
	show(marks[0], logbook.VisitStation)
	show(marks[2], logbook.VisitStation)
	near(t, "wrong mark", b.at, marks[1].At, 1e-9)
	op.Show(guide.Event{Kind: guide.Captured, Station: marks[2]})
	op.Show(guide.Event{Kind: guide.Warning, Why: remark.New("guide.wrong-mark"), Station: marks[2]})
	op.Show(guide.Event{Kind: guide.Go, Station: marks[3]})
	b.run(2)
	if got := typed(op); len(got) != 1 || got[0] != (guide.Command{Kind: guide.CmdRedo, Text: marks[2].Name}) {
		t.Fatalf("typed %v, want redo of the third", got)
	}
	show(marks[2], logbook.VisitRedo)
	near(t, "set right", b.at, marks[2].At, 1e-9)
	op.Show(guide.Event{Kind: guide.Warning, Why: remark.New("guide.wrong-mark"), Station: marks[2]})
	b.run(2)
	if got := typed(op); len(got) != 0 {
		t.Errorf("typed %v though there was no slip", got)
	}
}

func TestOperatorTurnsTheArrowAndLiftsEarly(t *testing.T) {
	b, op := desk(OperatorOptions{State: survey.StateUnpowered, Mistakes: []Mistake{{1, Backwards}, {2, EarlyLift}, {3, ForgotSwitch}}})
	op.Show(guide.Event{Kind: guide.Go, Station: survey.Station{Name: "A"}})
	b.run(5)
	if ahead := b.pose.Turn.Apply(r3.Vec{X: 1}); ahead.X > -.99 {
		t.Errorf("arrow %v, want backwards", ahead)
	}
	op.Show(guide.Event{Kind: guide.Go, Station: survey.Station{Name: "B"}})
	b.run(5)
	op.Show(guide.Event{Kind: guide.Resting, Progress: guide.Progress{DwellFrac: .2}})
	if b.ride != nil {
		t.Error("lifted too early even for a mistake")
	}
	op.Show(guide.Event{Kind: guide.Resting, Progress: guide.Progress{DwellFrac: .5}})
	if b.ride == nil {
		t.Error("did not lift")
	}
	op.Show(guide.Event{Kind: guide.Go, Station: survey.Station{Name: "C"}})
	op.Show(guide.Event{Kind: guide.Switch, On: true})
	b.run(2)
	if len(b.state.Levels) != 0 {
		t.Error("did not forget the switch")
	}
}
