package live

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// jobs are computations that go on while the page does: a panel that needs one
// shows that it is under way, with what was known before, and is told when it
// is done.
type jobs struct {
	mu  sync.Mutex
	all map[string]*job
}

// job is a computation by its key. Its result belongs to the craft folder as it
// was when it began.
type job struct {
	print   string // of that folder; empty: there is no result yet
	v       any
	err     error
	running chan struct{} // closed when the one under way is done; nil: none is
	began   time.Time
	asked   time.Time
}

// Progress says how a computation stands.
type Progress struct {
	Busy    bool  `json:"busy"`     // it is under way
	Stale   bool  `json:"stale"`    // what is shown is from before the folder changed
	BeganMS int64 `json:"began_ms"` // when it began, milliseconds of the server's clock
}

const (
	patience  = 250 * time.Millisecond // a quick answer is waited for
	maxJobs   = 40                     // kept; those not asked for go first
	maxAtWork = 12                     // under way or waiting for their turn
)

var errTooMuch = errors.New("too much is being computed at once; wait a moment and ask again")

// Later computes an answer through Once in the background. It gives what is
// there by now: the answer, or an older one, or nil, and how it stands. When a
// computation is done, the topic NAME_ready is shown to all pages, NAME being
// the first word of the key.
func (b *Bench) Later(ctx context.Context, key string, compute func() (any, error)) (any, Progress, error) {
	return b.wait(ctx, key, compute, patience)
}

// Await is Later for those who cannot do without the answer: a picture, an
// action.
func (b *Bench) Await(ctx context.Context, key string, compute func() (any, error)) (any, error) {
	v, p, err := b.wait(ctx, key, compute, replyLimit)
	if err == nil && v == nil && p.Busy {
		err = errTooMuch
	}
	return v, err
}

func (b *Bench) wait(ctx context.Context, key string, compute func() (any, error), most time.Duration) (any, Progress, error) {
	print := fingerprint(b.opts.Dir)
	running, err := b.jobs.begin(key, print, b.Now(), func(j *job) { b.work(key, print, j, compute) })
	if err != nil {
		return nil, Progress{}, err
	}
	if running != nil {
		late := time.NewTimer(most)
		defer late.Stop()
		select {
		case <-running:
		case <-late.C:
		case <-ctx.Done():
		}
	}
	return b.jobs.state(key, print)
}

// begin starts the work on a key unless its result is there or on its way. The
// channel is closed when the work under way is done; nil: nothing is.
func (s *jobs) begin(key, print string, now time.Time, work func(*job)) (<-chan struct{}, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[string]*job{}
	}
	j := s.all[key]
	if j == nil {
		if s.atWork() >= maxAtWork {
			return nil, errTooMuch
		}
		s.makeRoom()
		j = &job{}
		s.all[key] = j
	}
	j.asked = now
	if j.running == nil && j.print != print {
		j.running, j.began = make(chan struct{}), now
		go work(j)
	}
	return j.running, nil
}

func (s *jobs) atWork() int {
	n := 0
	for _, j := range s.all {
		if j.running != nil {
			n++
		}
	}
	return n
}

// makeRoom forgets the result that was asked for longest ago.
func (s *jobs) makeRoom() {
	if len(s.all) < maxJobs {
		return
	}
	oldest := ""
	for k, j := range s.all {
		if j.running == nil && (oldest == "" || j.asked.Before(s.all[oldest].asked)) {
			oldest = k
		}
	}
	delete(s.all, oldest)
}

func (s *jobs) state(key, print string) (any, Progress, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	j := s.all[key]
	if j == nil { // forgotten meanwhile
		return nil, Progress{Busy: true}, nil
	}
	p := Progress{Busy: j.running != nil, Stale: j.print != "" && j.print != print, BeganMS: j.began.UnixMilli()}
	if p.Busy && j.err != nil { // what failed before may not fail now
		return nil, p, nil
	}
	return j.v, p, j.err
}

// work computes and tells the pages. A fault in a computation must not end the
// server, which may be in the middle of a walk.
func (b *Bench) work(key, print string, j *job, compute func() (any, error)) {
	v, err := b.sheltered(print+"\x00"+key, compute)
	b.jobs.mu.Lock()
	j.v, j.err, j.print = v, err, print
	close(j.running)
	j.running = nil
	b.jobs.mu.Unlock()
	b.stream.Show(firstWord(key)+"_ready", map[string]int64{"at_ms": b.Now().UnixMilli()})
}

func (b *Bench) sheltered(key string, compute func() (any, error)) (v any, err error) {
	defer func() {
		if r := recover(); r != nil {
			v, err = nil, fmt.Errorf("the computation broke off: %v", r)
		}
	}()
	return b.Once(key, compute)
}

func firstWord(key string) string {
	for i, r := range key {
		if r == ' ' {
			return key[:i]
		}
	}
	return key
}
