package sim

import (
	"context"
	"io"

	"quietmount/survey/link"
)

// Decoder turns bytes that arrived at ts into items, as link.Decoder does.
type Decoder interface {
	Feed(dst []link.Item, p []byte, ts float64) []link.Item
}

// Stream is a simulated module as a link: the bench's bytes through a
// decoder, in virtual time, which goes by as fast as Next is called. It ends
// with io.EOF after EndS seconds.
type Stream struct {
	bench   *Bench
	decoder Decoder
	endS    float64
	pending []link.Item
	next    int // of pending
	lost    bool
	closed  bool
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
		if s.closed || s.bench.t >= s.endS {
			return link.Item{}, io.EOF
		}
		s.step()
	}
}

func (s *Stream) step() {
	s.pending, s.next = s.pending[:0], 0
	bytes := s.bench.Step()
	if gone := within(s.bench.printer.faults.Unplugs, s.bench.t); gone != s.lost {
		s.lost = gone
		item := link.Item{Kind: link.Back, TS: s.bench.t, Text: "the simulated port is back"}
		if gone {
			item = link.Item{Kind: link.Lost, TS: s.bench.t, Text: "the simulated port is gone; plug the module in again"}
		}
		s.pending = append(s.pending, item)
	}
	if len(bytes) > 0 {
		s.pending = s.decoder.Feed(s.pending, bytes, s.bench.t)
	}
}

// Close ends the stream.
func (s *Stream) Close() error {
	s.closed = true
	return nil
}
