package trial

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
)

// FolderOptions shape the runs of a whole simulated survey.
type FolderOptions struct {
	Pulsed        bool             // loads are pulsed; else they are on all through a walk of their own
	CurrentPart   float64          // of each load's maximum current; 0: 1
	Stations      []survey.Station // nil: the craft's own
	Background    int              // stations of the background run; 0: 8; negative: no background run
	RepeatPart    float64          // of the stations, captured twice when unpowered; 0: a tenth
	NoUnpowered   bool             // leave the unpowered run out, as when only more stations are walked pulsed
	FirstNumber   int              // of the runs; 0: 1
	Started       time.Time
	Seed          uint64
	PauseS        float64 // between runs; 0: two minutes
	ClockS        float64 // on the room's clock at the start
	SamplesADwell int     // 0: 120
}

// Folder fabricates the runs of a whole survey in the order of the job:
// background, unpowered, every load. The room's clock goes on from run to
// run.
func Folder(w *sim.World, p sim.Probe, h sim.Hand, o FolderOptions) []*logbook.Run {
	if o.CurrentPart == 0 {
		o.CurrentPart = 1
	}
	if o.Stations == nil {
		o.Stations = w.Craft.Stations()
	}
	if o.FirstNumber == 0 {
		o.FirstNumber = 1
	}
	if o.PauseS == 0 {
		o.PauseS = 120
	}
	f := &folder{w: w, p: p, h: h, o: o, clock: o.ClockS}
	f.background()
	f.unpowered()
	for _, l := range w.Craft.Loads {
		run := RunOptions{State: l.Name, Pulsed: o.Pulsed, Stations: o.Stations}
		if l.Kind == survey.LoadCurrent {
			run.CurrentA = o.CurrentPart * l.MaxCurrentA
		}
		f.add(run)
	}
	return f.runs
}

// folder is a folder in the making.
type folder struct {
	w     *sim.World
	p     sim.Probe
	h     sim.Hand
	o     FolderOptions
	clock float64
	runs  []*logbook.Run
}

func (f *folder) add(o RunOptions) {
	o.Number = f.o.FirstNumber + len(f.runs)
	o.Seed = f.o.Seed*1000 + uint64(o.Number)
	o.Session = f.o.Started.Format(time.DateOnly)
	o.Started = f.o.Started.Add(time.Duration((f.clock - f.o.ClockS) * float64(time.Second)))
	o.ClockS, o.Samples = f.clock, f.o.SamplesADwell
	run := Captures(f.w, f.p, f.h, o)
	f.runs = append(f.runs, run)
	last := run.Captures[len(run.Captures)-1]
	f.clock += last.Time.Sub(run.Header.Started).Seconds() + f.o.PauseS
}

func (f *folder) background() {
	n := f.o.Background
	if n == 0 {
		n = 8
	}
	if n > 0 && len(f.o.Stations) > 0 {
		f.add(RunOptions{State: survey.StateBackground, Stations: apart(f.o.Stations, n)})
	}
}

func (f *folder) unpowered() {
	if f.o.NoUnpowered || len(f.o.Stations) == 0 {
		return
	}
	part := f.o.RepeatPart
	if part == 0 {
		part = 0.1
	}
	f.add(RunOptions{State: survey.StateUnpowered, Stations: f.o.Stations, Repeats: max(1, int(part*float64(len(f.o.Stations))+.5))})
}

// apart picks n stations far from one another: each next one is that whose
// nearest chosen one is farthest.
func apart(all []survey.Station, n int) []survey.Station {
	out := []survey.Station{all[0]}
	for len(out) < min(n, len(all)) {
		best, far := 0, -1.
		for i, s := range all {
			d := nearest(out, s.At)
			if d > far {
				best, far = i, d
			}
		}
		out = append(out, all[best])
	}
	return out
}

func nearest(to []survey.Station, at r3.Vec) float64 {
	d := r3.Norm(r3.Sub(to[0].At, at))
	for _, s := range to[1:] {
		d = min(d, r3.Norm(r3.Sub(s.At, at)))
	}
	return d
}
