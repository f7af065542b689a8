package link

import (
	"context"
	"slices"
	"sync"

	"quietmount/magmath/remark"
)

// queueSize is the largest number of waiting items: 40 s at 100 per second.
const queueSize = 4096

// queue passes items from the reader to Next. It never blocks the reader: when
// full it drops the oldest readings and counts them.
type queue struct {
	mu      sync.Mutex
	items   []Item
	dropped int // since the last remark
	total   int
	end     error // after the items: nothing more comes
	wake    chan struct{}
}

func newQueue() *queue { return &queue{wake: make(chan struct{}, 1)} }

// put appends items.
func (q *queue) put(items []Item) {
	if len(items) == 0 {
		return
	}
	q.mu.Lock()
	q.items = append(q.items, items...)
	if over := len(q.items) - queueSize; over > 0 {
		q.shed(over + queueSize/8)
	}
	q.mu.Unlock()
	q.notify()
}

// shed drops the n oldest readings; changes of state go only when there are
// no readings left.
func (q *queue) shed(n int) {
	left := n
	q.items = slices.DeleteFunc(q.items, func(it Item) bool {
		if left == 0 || it.Kind != Reading {
			return false
		}
		left--
		return true
	})
	q.dropped += n - left
	q.total += n - left
	if over := len(q.items) - queueSize; over > 0 {
		q.items = slices.Delete(q.items, 0, over)
	}
}

// close ends the queue: nothing more comes, and next returns why.
func (q *queue) close(why error) {
	q.mu.Lock()
	if q.end == nil {
		q.end = why
	}
	q.mu.Unlock()
	q.notify()
}

func (q *queue) notify() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// next waits for an item, the end or ctx.
func (q *queue) next(ctx context.Context) (Item, error) {
	for {
		it, ok, err := q.pop()
		if ok || err != nil {
			return it, err
		}
		select {
		case <-ctx.Done():
			return Item{}, ctx.Err()
		case <-q.wake:
		}
	}
}

func (q *queue) pop() (Item, bool, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.dropped > 0 {
		it := Item{Kind: Remark, Says: Overflow(q.dropped)}
		if len(q.items) > 0 {
			it.TS = q.items[0].TS
		}
		q.dropped = 0
		return it, true, nil
	}
	if len(q.items) > 0 {
		it := q.items[0]
		q.items = q.items[1:]
		if len(q.items) > 0 || q.end != nil {
			q.notify() // for another waiter
		}
		return it, true, nil
	}
	if q.end != nil {
		q.notify()
	}
	return Item{}, false, q.end
}

func (q *queue) lost() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.total
}

// Overflow returns the remark that n samples were dropped because nobody fetched
// them.
func Overflow(n int) remark.Remark { return remark.New("link.overflow", remark.Values{"samples": n}) }
