package sim

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
)

// Operator is somebody who does what the guide says: confirms the checklist,
// carries the probe to the station announced, asks for the capture, switches
// the load, and sets a mistake right when told.
type Operator struct {
	o         OperatorOptions
	bench     *Bench
	commands  chan guide.Command
	gos       int // stations announced so far
	here      survey.Station
	wrong     MistakeKind            // being made here
	slips     map[string]MistakeKind // made and not yet set right, by station
	captured  string                 // the station of the last capture
	back      bool                   // on the way back to a station
	errand    int                    // counts moves, so that an overtaken plan is dropped
	confirmed map[string]bool
	done      bool
}

// OperatorOptions say how the operator works.
type OperatorOptions struct {
	State     string           // of the run
	CurrentA  float64          // the load's current while on; of a moving load: nothing
	Pulsed    bool             // the guide prompts the switching; else a load is on from the start
	HandsFree bool             // captures start by themselves
	Stations  []survey.Station // all marks, for WrongMark
	ReactionS float64          // from a prompt to a move; 0: 0.6 s
	MoveS     float64          // from station to station; 0: 2.5 s
	Mistakes  []Mistake
}

// Mistake is something done wrong at the n-th station announced, counted from
// 1, base returns included; it is set right at the next announcement or
// remark.
type Mistake struct {
	Go   int
	Kind MistakeKind
}

// MistakeKind sorts the mistakes.
type MistakeKind string

// The mistakes.
const (
	WrongMark    MistakeKind = "wrong mark"    // the nearest other mark
	Backwards    MistakeKind = "backwards"     // arrow to the tail
	EarlyLift    MistakeKind = "early lift"    // lifted half way through the dwell
	ForgotSwitch MistakeKind = "forgot switch" // leaves the load as it is
)

// NewOperator stands an operator at the bench. Before a run of a load that is
// not pulsed the load is switched on; for the background the craft is away.
func NewOperator(b *Bench, o OperatorOptions) *Operator {
	if o.ReactionS == 0 {
		o.ReactionS = 0.6
	}
	if o.MoveS == 0 {
		o.MoveS = 2.5
	}
	op := &Operator{o: o, bench: b, commands: make(chan guide.Command, 256), confirmed: map[string]bool{}, slips: map[string]MistakeKind{}}
	b.SetAway(o.State == survey.StateBackground)
	if !o.Pulsed {
		op.switchLoad(true)
	}
	return op
}

// Commands returns what the operator types. The channel is buffered and never
// closed.
func (op *Operator) Commands() <-chan guide.Command { return op.commands }

// Show tells the operator what the guide said. It returns at once; what
// follows happens in the bench's time.
func (op *Operator) Show(e guide.Event) {
	op.bench.mu.Lock()
	defer op.bench.mu.Unlock()
	switch e.Kind {
	case guide.Checklist:
		op.confirm(e.Items)
	case guide.Go:
		op.announced(e)
	case guide.Resting:
		op.rest(e.Progress.DwellFrac)
	case guide.Switch:
		op.switched(e.On)
	case guide.Rejected:
		op.wrong = ""
		op.carry()
	case guide.Captured:
		op.captured = e.Station.Name
	case guide.Warning:
		op.warned(e)
	case guide.Done:
		op.done = true
		op.bench.LoadsOff()
	}
}

// confirm reads the items one by one, each once.
func (op *Operator) confirm(items []remark.Remark) {
	after := 0.
	for _, item := range items {
		text := item.Code
		if what, ok := item.Values["what"].(string); ok { // what is fitted
			text += " " + what
		}
		if op.confirmed[text] {
			continue
		}
		op.confirmed[text] = true
		after += op.o.ReactionS
		op.bench.after(after, func() { op.send(guide.Command{Kind: guide.CmdConfirm, Text: text}) })
	}
}

// announced goes to the next station, making this station's mistake if there
// is one; going back to a capture that is done over is no new station.
func (op *Operator) announced(e guide.Event) {
	op.here, op.wrong = e.Station, ""
	if op.back {
		op.back = false
		op.gos-- // the station announced before will be announced again
	} else {
		op.gos++
		op.wrong = op.planned()
	}
	if op.wrong == WrongMark || op.wrong == Backwards {
		op.slips[e.Station.Name] = op.wrong
	}
	op.carry()
}

// planned returns the mistake to be made at this station.
func (op *Operator) planned() MistakeKind {
	for _, m := range op.o.Mistakes {
		if m.Go == op.gos {
			return m.Kind
		}
	}
	return ""
}

// warned does a capture over when the guide suspects a slip and there was
// one: a careful operator looks, and knows.
func (op *Operator) warned(e guide.Event) {
	if code := e.Code(); code != guide.CodeWrongMark && code != guide.CodeTurnedArrow {
		return
	}
	if _, slipped := op.slips[e.Station.Name]; !slipped {
		return
	}
	delete(op.slips, e.Station.Name)
	op.bench.after(op.o.ReactionS, func() {
		op.back = true
		op.errand++ // whatever was planned for the next station waits
		op.send(guide.Command{Kind: guide.CmdRedo, Text: e.Station.Name})
	})
}

// carry takes the probe to the station, rightly or wrongly, and asks for the
// capture when it has come down.
func (op *Operator) carry() {
	op.errand++
	mine, to, backwards := op.errand, op.here.At, op.wrong == Backwards
	if op.wrong == WrongMark {
		to = op.neighbour()
	}
	there := op.captured == "" && op.wrong == "" && r3.Norm(r3.Sub(op.bench.at, to)) < thereMM
	op.bench.after(op.o.ReactionS, func() {
		if mine == op.errand && !there {
			op.bench.Move(to, op.o.MoveS, backwards)
		}
	})
	if !op.o.HandsFree {
		op.ask(op.o.ReactionS + op.o.MoveS + settleS)
	}
}

// thereMM: a probe this near to the first mark has been laid there already.
const thereMM = 15

// settleS is the time from setting down to asking for the capture.
const settleS = 0.8

// ask asks for the capture, unless the operator has gone elsewhere by then.
func (op *Operator) ask(after float64) {
	mine := op.errand
	op.bench.after(after, func() {
		if mine == op.errand && !op.done {
			op.send(guide.Command{Kind: guide.CmdCapture})
		}
	})
}

// neighbour returns the nearest mark that is not the announced one.
func (op *Operator) neighbour() r3.Vec {
	best, at := -1., op.here.At
	for _, s := range op.o.Stations {
		d := r3.Norm(r3.Sub(s.At, op.here.At))
		if s.Name != op.here.Name && (best < 0 || d < best) {
			best, at = d, s.At
		}
	}
	return at
}

// rest lifts early if that is the mistake of this station.
func (op *Operator) rest(frac float64) {
	if op.wrong == EarlyLift && frac > 0.4 {
		op.wrong = ""
		op.bench.Move(r3.Add(op.here.At, r3.Vec{X: 40, Y: 30}), 0.8, false)
	}
}

// switched does as the guide says, after the lag of a hand.
func (op *Operator) switched(on bool) {
	if op.wrong == ForgotSwitch {
		return
	}
	op.bench.after(op.bench.Hand.Lag(op.bench.rng), func() { op.switchLoad(on) })
}

func (op *Operator) switchLoad(on bool) {
	level := 0.
	if on {
		level = op.o.CurrentA
	}
	for _, l := range op.bench.World.Craft.Loads {
		if l.Name != op.o.State {
			continue
		}
		if on && l.Kind == survey.LoadMoving {
			level = 1
		}
		op.bench.state.Levels[l.Name] = level
	}
}

// send types a command; a guide that reads none of 256 has long gone.
func (op *Operator) send(c guide.Command) {
	select {
	case op.commands <- c:
	default:
	}
}
