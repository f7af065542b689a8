package conduct

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/link"
)

// Probe is the one link to the module. Several readers share it, each through a
// Tap of its own.
type Probe struct {
	conductor *Conductor

	mu      sync.Mutex
	name    string
	baud    int
	source  link.Source
	stop    context.CancelFunc
	done    chan struct{}
	taps    []*Tap
	recent  []survey.Sample // the last seconds
	remarks []remark.Remark
	up      bool
	why     string // what the link said last

	rateHz    float64 // readings a second, over the last second or so
	countFrom time.Time
	counted   int
}

// errNoProbe says that no module is connected.
var errNoProbe = errors.New("no module is connected: choose a port under Link")

const (
	recentSamples = 2000
	recentRemarks = 20
)

// Connect opens a port, after closing the one that is open.
func (p *Probe) Connect(name string, baud int) error {
	p.Disconnect()
	ctx, stop := context.WithCancel(p.conductor.ctx)
	source, err := p.conductor.Open(ctx, name, baud)
	if err != nil {
		stop()
		p.publish()
		return err
	}
	p.mu.Lock()
	p.name, p.baud, p.source, p.stop, p.done = name, baud, source, stop, make(chan struct{})
	p.up, p.why, p.recent, p.remarks = true, "", nil, nil
	done := p.done
	p.mu.Unlock()
	p.publish()
	go func() {
		defer close(done)
		p.read(ctx, source)
	}()
	return nil
}

// Disconnect closes the port. Readers of a Tap get link.ErrClosed.
func (p *Probe) Disconnect() {
	p.mu.Lock()
	stop, source, done := p.stop, p.source, p.done
	p.source, p.stop, p.up = nil, nil, false
	p.mu.Unlock()
	if source == nil {
		return
	}
	stop()
	_ = source.Close() // nothing can be done about a port that does not close
	<-done
	p.publish()
}

// read passes every item to all taps until the source ends.
func (p *Probe) read(ctx context.Context, source link.Source) {
	for {
		item, err := source.Next(ctx)
		if err != nil {
			p.end(err)
			return
		}
		p.take(item)
		if item.Kind != link.Reading {
			p.publish()
		}
	}
}

func (p *Probe) take(item link.Item) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch item.Kind {
	case link.Reading:
		now := p.conductor.Now()
		p.count(now)
		b := item.Sample.B
		p.conductor.Stream.Show("reading", reading{now.UnixMilli(), vec(b), r3.Norm(b), p.rateHz})
		p.recent = append(p.recent, item.Sample)
		if n := len(p.recent); n >= 2*recentSamples {
			p.recent = slices.Clone(p.recent[n-recentSamples:])
		}
	case link.Lost:
		p.up, p.why = false, words.Page.Say(item.Says)
	case link.Back:
		p.up, p.why = true, words.Page.Say(item.Says)
	default:
		p.why = words.Page.Say(item.Says)
		p.remarks = append(p.remarks, item.Says)
		p.remarks = p.remarks[max(0, len(p.remarks)-recentRemarks):]
	}
	for _, t := range p.taps {
		t.put(item)
	}
}

// reading is the newest reading, topic "reading": as the sensor sent it, without
// calibration or axes.
type reading struct {
	AtMS        int64      `json:"at_ms"` // of the clock, when it came
	BUT         [3]float64 `json:"b_ut"`
	MagnitudeUT float64    `json:"magnitude_ut"`
	RateHz      float64    `json:"rate_hz"`
}

// count adds a reading to the rate, which starts anew after a gap of ten
// seconds.
func (p *Probe) count(now time.Time) {
	p.counted++
	dt := now.Sub(p.countFrom)
	if p.countFrom.IsZero() || dt > 10*time.Second {
		p.countFrom, p.counted = now, 0
	} else if dt >= time.Second {
		p.rateHz = float64(p.counted) / dt.Seconds()
		p.countFrom, p.counted = now, 0
	}
}

// end closes all taps with the error of the source.
func (p *Probe) end(err error) {
	p.mu.Lock()
	p.up = false
	if p.source != nil {
		p.why = err.Error()
	} else {
		err = link.ErrClosed
	}
	for _, t := range p.taps {
		t.fail(err)
	}
	p.taps = nil
	p.mu.Unlock()
	p.publish()
}

// ProbeState is what the pages are shown of the link, topic "link".
type ProbeState struct {
	Connected bool   `json:"connected"` // a port is open
	Up        bool   `json:"up"`        // and the link was not lost
	Port      string `json:"port"`
	Baud      int    `json:"baud"`
	Why       string `json:"why"` // what the link said last, for people
}

// State returns the state of the link.
func (p *Probe) State() ProbeState {
	p.mu.Lock()
	defer p.mu.Unlock()
	return ProbeState{Connected: p.source != nil, Up: p.up, Port: p.name, Baud: p.baud, Why: p.why}
}

func (p *Probe) publish() { p.conductor.Stream.Show("link", p.State()) }

// Recent returns the last readings, at most 2000, and the last remarks of the link.
func (p *Probe) Recent() (samples []survey.Sample, remarks []remark.Remark) {
	p.mu.Lock()
	defer p.mu.Unlock()
	from := max(0, len(p.recent)-recentSamples)
	return slices.Clone(p.recent[from:]), slices.Clone(p.remarks)
}

// Monitor returns what the link reports about itself; nil if it reports nothing.
func (p *Probe) Monitor() link.Monitor {
	p.mu.Lock()
	defer p.mu.Unlock()
	m, _ := p.source.(link.Monitor)
	return m
}

// shape describes the stream's lines for the header of a run; empty if it is not
// known.
func (p *Probe) shape() string {
	if m := p.Monitor(); m != nil {
		if g, ok := m.Guess(); ok {
			return "text, " + words.Terminal.Say(g.Remark())
		}
	}
	return ""
}

// Tap returns a source of the readings from now on; close it when done.
// errNoProbe: no port is open.
func (p *Probe) Tap() (*Tap, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.source == nil {
		return nil, errNoProbe
	}
	t := &Tap{probe: p, wake: make(chan struct{}, 1)}
	p.taps = append(p.taps, t)
	return t, nil
}

// Tap is a link.Source that shares the probe. Readings are dropped, with a
// remark, only if its reader falls minutes behind.
type Tap struct {
	probe *Probe
	wake  chan struct{}

	mu      sync.Mutex
	items   []link.Item
	dropped int
	err     error
}

var _ link.Source = (*Tap)(nil)

const tapItems = 1 << 15 // over five minutes at 100 a second

func (t *Tap) put(item link.Item) {
	t.mu.Lock()
	if len(t.items) >= tapItems {
		t.dropped += len(t.items)
		t.items = nil
	}
	t.items = append(t.items, item)
	t.mu.Unlock()
	t.nudge()
}

func (t *Tap) fail(err error) {
	t.mu.Lock()
	t.err = err
	t.mu.Unlock()
	t.nudge()
}

func (t *Tap) nudge() {
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// Next returns the next item of the link.
func (t *Tap) Next(ctx context.Context) (link.Item, error) {
	for {
		if item, ok, err := t.pop(); ok || err != nil {
			return item, err
		}
		select {
		case <-ctx.Done():
			return link.Item{}, ctx.Err()
		case <-t.wake:
		}
	}
}

func (t *Tap) pop() (item link.Item, ok bool, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case t.dropped > 0:
		item = link.Item{Kind: link.Remark, Says: link.Overflow(t.dropped)}
		t.dropped = 0
		return item, true, nil
	case len(t.items) > 0:
		item, t.items = t.items[0], t.items[1:]
		return item, true, nil
	}
	return link.Item{}, false, t.err
}

// Close ends the tap; the link stays open.
func (t *Tap) Close() error {
	t.probe.mu.Lock()
	t.probe.taps = slices.DeleteFunc(t.probe.taps, func(o *Tap) bool { return o == t })
	t.probe.mu.Unlock()
	t.fail(link.ErrClosed)
	return nil
}
