package live

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// A computation that a test lets end, or that ends with its context.
type slow struct {
	begun, cancelled atomic.Int32
	end              chan struct{}
}

func (s *slow) compute(ctx context.Context) (any, error) {
	s.begun.Add(1)
	select {
	case <-s.end:
		return "answer", nil
	case <-ctx.Done():
		s.cancelled.Add(1)
		return nil, ctx.Err()
	}
}

func testCache(print *string) *cache {
	return newCache(time.Now, func(string) string { return *print }, func(string) {})
}

// A computation goes on while a request waits for it, and ends with the last.
func TestTheLastRequestThatGoesEndsTheComputation(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		print := "a"
		c, s := testCache(&print), &slow{end: make(chan struct{})}
		defer c.close()
		one, leaveOne := context.WithCancel(t.Context())
		two, leaveTwo := context.WithCancel(t.Context())
		answers := make(chan error, 2)
		for _, ctx := range []context.Context{one, two} {
			go func() {
				_, _, err := c.ask(ctx, fully, "key", s.compute)
				answers <- err
			}()
		}
		synctest.Wait()
		leaveOne()
		if err := <-answers; !errors.Is(err, context.Canceled) {
			t.Errorf("the request that was given up ends with %v", err)
		}
		synctest.Wait()
		if s.begun.Load() != 1 || s.cancelled.Load() != 0 {
			t.Errorf("%d begun, %d cancelled while a request waits", s.begun.Load(), s.cancelled.Load())
		}
		leaveTwo()
		<-answers
		synctest.Wait()
		if s.cancelled.Load() != 1 {
			t.Error("the computation goes on though nobody waits for it")
		}
		close(s.end)
		if v, _, err := c.ask(t.Context(), fully, "key", s.compute); v != "answer" || err != nil {
			t.Errorf("asked again: %v, %v", v, err)
		}
		if v, _, _ := c.ask(t.Context(), fully, "key", s.compute); v != "answer" || s.begun.Load() != 2 {
			t.Errorf("%v, %d begun: the answer was not kept", v, s.begun.Load())
		}
	})
}

// A page that was told to come back still waits, as long as any page follows.
func TestAnAnswerThatAPageComesBackFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		print := "a"
		c, s := testCache(&print), &slow{end: make(chan struct{})}
		defer c.close()
		if _, p, err := c.ask(t.Context(), soon, "key", s.compute); !p.Busy || err != nil {
			t.Fatalf("%+v, %v", p, err)
		}
		pages := 1
		c.deserted(func() int { return pages }) // the page was loaded again
		time.Sleep(2 * desertedS)
		synctest.Wait()
		if s.cancelled.Load() != 0 {
			t.Error("cancelled though a page follows")
		}
		pages = 0
		c.deserted(func() int { return pages })
		time.Sleep(2 * desertedS)
		synctest.Wait()
		if s.cancelled.Load() != 1 {
			t.Error("the computation goes on though every page is gone")
		}
	})
}

// While the folder changes the earlier answer is shown, and a failure is not.
func TestStaleAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		print := "a"
		c := testCache(&print)
		defer c.close()
		at := func(v any, err error) func(context.Context) (any, error) {
			return func(context.Context) (any, error) { time.Sleep(time.Second); return v, err }
		}
		if v, _, err := c.ask(t.Context(), fully, "key", at(1, nil)); v != 1 || err != nil {
			t.Errorf("%v, %v", v, err)
		}
		print = "b"
		v, p, err := c.ask(t.Context(), soon, "key", at(nil, errTooMuch))
		if v != 1 || !p.Busy || !p.Stale || err != nil {
			t.Errorf("while it is computed again: %v, %+v, %v", v, p, err)
		}
		time.Sleep(2 * time.Second)
		if v, p, err := c.ask(t.Context(), soon, "key", at(2, nil)); v != nil || p.Busy || !errors.Is(err, errTooMuch) {
			t.Errorf("a failure is kept until the folder changes: %v, %+v, %v", v, p, err)
		}
		print = "c"
		if v, p, err := c.ask(t.Context(), soon, "key", at(3, nil)); v != nil || !p.Busy || err != nil {
			t.Errorf("what failed before may succeed now: %v, %+v, %v", v, p, err)
		}
		print = "d" // a request that waits gets the answer for the folder as it is
		if v, p, err := c.ask(t.Context(), fully, "key", at(4, nil)); v != 4 || p.Stale || err != nil {
			t.Errorf("%v, %+v, %v", v, p, err)
		}
		// A folder that changes all the time keeps no request waiting: the answer
		// for the folder as it was when the request came is good enough.
		changing := newCache(time.Now, func(string) string { return time.Now().String() }, func(string) {})
		defer changing.close()
		if v, _, err := changing.ask(t.Context(), fully, "key", at(5, nil)); v != 5 || err != nil {
			t.Errorf("%v, %v", v, err)
		}
	})
}

// Only one computation runs at a time, a fault in one is an error, and no more
// than some wait for their turn.
func TestComputationsTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		print := "a"
		c := testCache(&print)
		defer c.close()
		if _, _, err := c.ask(t.Context(), fully, "fault", func(context.Context) (any, error) { panic("at the disco") }); err == nil {
			t.Error("a fault is no error")
		}
		var running, most atomic.Int32
		for i := range maxAtWork {
			go c.ask(t.Context(), fully, string(rune('a'+i)), func(context.Context) (any, error) {
				most.Store(max(most.Load(), running.Add(1)))
				time.Sleep(time.Second)
				running.Add(-1)
				return nil, nil
			})
		}
		synctest.Wait()
		if _, _, err := c.ask(t.Context(), soon, "one more", nil); !errors.Is(err, errTooMuch) {
			t.Errorf("one more: %v", err)
		}
		time.Sleep(time.Minute)
		if most.Load() != 1 {
			t.Errorf("%d at the same time", most.Load())
		}
		for i := range 2 * maxKept {
			within(t.Context(), c, string(rune(1000+i)), func(context.Context) (int, error) { return i, nil })
		}
		if len(c.all) > maxKept {
			t.Errorf("%d answers are kept", len(c.all))
		}
	})
}
