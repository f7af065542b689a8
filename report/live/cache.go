package live

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"quietmount/report/live/serve"
)

// cache keeps what follows from the craft folder alone, by key, until the files
// change that it follows from. One computation runs at a time: findings need not be safe for several
// goroutines as long as they are used within computations only. A computation is
// cancelled when the last request that waits for it is given up; one that a page
// was told to come back for goes on while any page follows the stream.
type cache struct {
	now   func() time.Time
	print func(key string) string // of the files that an answer follows from; never empty
	ready func(key string)
	ctx   context.Context // ends with the server
	close context.CancelFunc
	turn  chan struct{} // holds a value while a computation runs

	mu  sync.Mutex
	all map[string]*kept
}

// kept is an answer. It belongs to the folder as it was when the computation
// began.
type kept struct {
	print string // of that folder; empty: there is no answer yet
	v     any
	err   error
	work  *work // under way; nil: none is
	asked time.Time
}

// work is a computation under way, or waiting for its turn.
type work struct {
	print    string
	began    time.Time
	done     chan struct{}
	cancel   context.CancelFunc
	waiting  int  // requests
	promised bool // a page was told to come back for the answer
	dropped  bool // it is cancelled
	over     bool
}

// computing is the state of a computation.
type computing struct {
	Busy    bool  `json:"busy"`     // it is under way
	Stale   bool  `json:"stale"`    // what is shown is from before the folder changed
	BeganMS int64 `json:"began_ms"` // when it began, milliseconds of the server's clock
}

// patience is how long a request waits for an answer.
type patience time.Duration

const (
	soon  = patience(250 * time.Millisecond) // of a panel, which shows that the answer is being computed
	fully = patience(serve.ReplyLimit)       // of a picture or an action, which cannot do without

	maxKept   = 40               // answers; those not asked for go first
	maxAtWork = 12               // computations under way or waiting for their turn
	desertedS = 10 * time.Second // without any page until its computations are cancelled: a page may be loaded again
)

var errTooMuch = errors.New("too much is being computed at once; wait a moment and ask again")

func newCache(now func() time.Time, print func(key string) string, ready func(key string)) *cache {
	c := &cache{now: now, print: print, ready: ready, turn: make(chan struct{}, 1), all: map[string]*kept{}}
	c.ctx, c.close = context.WithCancel(context.Background())
	return c
}

// computed returns what compute makes of the craft folder, kept by key. With the
// patience soon it may return the answer from before the folder changed, or the
// zero value, while the computation is under way; with the patience fully that
// is an error. compute must honour its context, which ends when nobody waits for
// the answer any more.
func computed[T any](a asked, p patience, key string, compute func(context.Context) (T, error)) (T, computing, error) {
	v, progress, err := a.cache.ask(a.Ctx, p, key, func(ctx context.Context) (any, error) { return compute(ctx) })
	if err == nil && p == fully && progress.Busy {
		err = errTooMuch
	}
	t, _ := v.(T)
	return t, progress, err
}

// ask waits for an answer as long as its patience and ctx allow.
func (c *cache) ask(ctx context.Context, p patience, key string, compute func(context.Context) (any, error)) (any, computing, error) {
	late := time.NewTimer(time.Duration(p))
	defer late.Stop()
	for {
		print := c.print(key)
		w, err := c.begin(key, print, compute)
		if err != nil {
			return nil, computing{}, err
		}
		if w == nil {
			return c.state(key, print)
		}
		select {
		case <-w.done:
			if !c.leave(w, false) && w.print == print {
				return c.state(key, print)
			} // else look again: it was dropped, or began before the folder changed
		case <-late.C:
			c.leave(w, true)
			return c.state(key, print)
		case <-ctx.Done():
			c.leave(w, false)
			return nil, computing{}, ctx.Err()
		}
	}
}

// begin returns the computation of a key to wait for, which it starts unless it
// is under way; nil: the answer is there.
func (c *cache) begin(key, print string, compute func(context.Context) (any, error)) (*work, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	k := c.all[key]
	if k == nil {
		if c.atWork() >= maxAtWork {
			return nil, errTooMuch
		}
		k = c.add(key)
	}
	k.asked = c.now()
	if k.print == print && k.work == nil {
		return nil, nil
	}
	if k.work == nil || k.work.dropped {
		k.work = &work{print: print, began: k.asked, done: make(chan struct{})}
		var ctx context.Context
		ctx, k.work.cancel = context.WithCancel(c.ctx)
		go c.run(ctx, key, k, k.work, compute)
	}
	k.work.waiting++
	return k.work, nil
}

func (c *cache) atWork() int {
	n := 0
	for _, k := range c.all {
		if k.work != nil {
			n++
		}
	}
	return n
}

// add makes a place for a key. If all places are taken it forgets the answer
// that was asked for longest ago.
func (c *cache) add(key string) *kept {
	if len(c.all) >= maxKept {
		oldest := ""
		for name, k := range c.all {
			if k.work == nil && (oldest == "" || k.asked.Before(c.all[oldest].asked)) {
				oldest = name
			}
		}
		delete(c.all, oldest)
	}
	k := &kept{}
	c.all[key] = k
	return k
}

// leave takes a request off a computation, and reports whether that was dropped.
// later: the request was told to come back.
func (c *cache) leave(w *work, later bool) (dropped bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	w.waiting--
	w.promised = w.promised || later
	w.dropIfUnwanted()
	return w.dropped
}

func (w *work) dropIfUnwanted() {
	if w.waiting == 0 && !w.promised && !w.over {
		w.dropped = true
		w.cancel()
	}
}

// deserted is called when no page follows any more. If none has come back after
// a while, the computations are cancelled that only pages waited for.
func (c *cache) deserted(followers func() int) {
	time.AfterFunc(desertedS, func() {
		if followers() > 0 {
			return
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		for _, k := range c.all {
			if k.work != nil {
				k.work.promised = false
				k.work.dropIfUnwanted()
			}
		}
	})
}

// run computes when it is its turn, keeps the answer, and tells the pages. A
// cancelled computation leaves nothing behind.
func (c *cache) run(ctx context.Context, key string, k *kept, w *work, compute func(context.Context) (any, error)) {
	var v any
	err := c.inTurn(ctx, func() (err error) {
		defer func() { // a fault must not end the server, which may be in the middle of a walk
			if r := recover(); r != nil {
				v, err = nil, fmt.Errorf("the computation broke off: %v", r)
			}
		}()
		if v, err = compute(ctx); err == nil {
			err = ctx.Err() // what was cancelled may be unfinished
		}
		return err
	})
	c.mu.Lock()
	w.cancel()
	if !w.dropped || err == nil {
		k.v, k.err, k.print = v, err, w.print
	}
	if k.work == w {
		k.work = nil
	}
	w.over = true
	close(w.done)
	c.mu.Unlock()
	c.ready(key)
}

// inTurn runs do when no computation is under way.
func (c *cache) inTurn(ctx context.Context, do func() error) error {
	select {
	case c.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-c.turn }()
	if err := ctx.Err(); err != nil {
		return err
	}
	return do()
}

// state returns an answer as it stands.
func (c *cache) state(key, print string) (any, computing, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	k := c.all[key]
	if k == nil { // forgotten meanwhile
		return nil, computing{Busy: true}, nil
	}
	p := computing{Busy: k.work != nil, Stale: k.print != "" && k.print != print}
	if p.Busy {
		p.BeganMS = k.work.began.UnixMilli()
		if k.err != nil { // what failed before may succeed now
			return nil, p, nil
		}
	}
	return k.v, p, k.err
}

// within returns what compute makes, kept by key as ask does, but computes in
// the caller's goroutine: it is for what is needed within a computation, and for
// what takes a moment.
func within[T any](ctx context.Context, c *cache, key string, compute func(context.Context) (T, error)) (T, error) {
	print := c.print(key)
	c.mu.Lock()
	k := c.all[key]
	if k == nil {
		k = c.add(key)
	}
	k.asked = c.now()
	if k.print == print {
		defer c.mu.Unlock()
		v, _ := k.v.(T)
		return v, k.err
	}
	c.mu.Unlock()
	v, err := compute(ctx)
	if ctx.Err() == nil {
		c.mu.Lock()
		k.v, k.err, k.print = v, err, print
		c.mu.Unlock()
	}
	return v, err
}

// firstWord returns a key up to its first blank.
func firstWord(key string) string {
	word, _, _ := strings.Cut(key, " ")
	return word
}
