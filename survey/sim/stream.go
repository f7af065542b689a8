package sim

import (
	"context"
	"io"
	"sync/atomic"

	"quietmount/magmath/remark"
	"quietmount/survey/link"
)

// Decoder turns bytes that arrived at ts into items, as link.Decoder does.
type Decoder interface {
	Feed(dst []link.Item, p []byte, ts float64) []link.Item
}

// Stream is a simulated module as a link: the bench's bytes through a
// decoder, in virtual time, which goes by as fast as Next is called. It ends
// with io.EOF after a set time.
//
// Next and Operator.Show may be called from two goroutines. Only where Next
// is not called again before the item has been dealt with, as Stepped asks,
// does the same seed give the same walk: otherwise the operator may act a
// reading sooner or later.
type Stream struct {
	bench   *Bench
	decoder Decoder
	endS    float64
	pending []link.Item
	next    int // of pending
	lost    bool
	closed  atomic.Bool
}

var _ link.Source = (*Stream)(nil)

// defaultEndS is longer than anybody surveys at a stretch.
const defaultEndS = 8 * 3600

// NewStream puts the decoder at the end of the bench's cable. endS 0 means
// eight hours.
func NewStream(b *Bench, d Decoder, endS float64) *Stream {
	if endS <= 0 {
		endS = defaultEndS
	}
	return &Stream{bench: b, decoder: d, endS: endS}
}

// Next lets time go by until the decoder has something to say.
func (s *Stream) Next(ctx context.Context) (link.Item, error) {
	for {
		if err := ctx.Err(); err != nil {
			return link.Item{}, err
		}
		if s.next < len(s.pending) {
			item := s.pending[s.next]
			s.next++
			return item, nil
		}
		if s.closed.Load() || !s.step() {
			return link.Item{}, io.EOF
		}
	}
}

// step lets one reading's time go by; false at the end.
func (s *Stream) step() bool {
	s.bench.mu.Lock()
	defer s.bench.mu.Unlock()
	if s.bench.t >= s.endS {
		return false
	}
	s.pending, s.next = s.pending[:0], 0
	bytes := s.bench.Step()
	if gone := within(s.bench.printer.faults.Unplugs, s.bench.t); gone != s.lost {
		s.lost = gone
		item := link.Item{Kind: link.Back, TS: s.bench.t, Says: remark.New("link.sim-back")}
		if gone {
			item = link.Item{Kind: link.Lost, TS: s.bench.t, Says: remark.New("link.sim-lost")}
		}
		s.pending = append(s.pending, item)
	}
	if len(bytes) > 0 {
		s.pending = s.decoder.Feed(s.pending, bytes, s.bench.t)
	}
	return true
}

// Stepped reports whether this source makes its own time: it should be read by
// whoever deals with the items, one after the other, and not ahead.
func (s *Stream) Stepped() bool { return true }

// Close ends the stream.
func (s *Stream) Close() error {
	s.closed.Store(true)
	return nil
}
