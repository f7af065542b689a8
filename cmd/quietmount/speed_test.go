package main

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/survey/link"
)

// remarked is a link that says one thing and ends.
type remarked struct {
	code   string
	closed bool
	said   bool
}

func (r *remarked) Next(context.Context) (link.Item, error) {
	if r.said {
		return link.Item{}, io.EOF
	}
	r.said = true
	return link.Item{Kind: link.Remark, Says: remark.Remark{Code: r.code}}, nil
}

func (r *remarked) Close() error { r.closed = true; return nil }

// A port that sends no text at the usual speed is tried at others once it is
// closed, and the hint names the one that was found.
func TestListenFindsTheSpeed(t *testing.T) {
	for _, tt := range []struct {
		name string
		code string
		baud int
		err  error
		hint string
	}{
		{"found", "link.baud", 9600, nil, "it sends text at 9600 bits a second: add --baud 9600"},
		{"none", "link.baud", 0, nil, "no text at any of the common speeds"},
		{"text by now", "link.baud", usualBaud, nil, "see what it sends"},
		{"gone meanwhile", "link.baud", 0, errors.New("gone"), "see what it sends"},
		{"text of another kind", "link.bad-lines", 9600, nil, "see what it sends"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			source := &remarked{code: tt.code}
			l := &listener{ctx: t.Context(), sh: shell{Err: io.Discard}, source: namedSource{Source: source, name: "/dev/invented"}}
			err := l.awaitSamples()
			if err == nil {
				t.Fatal("a reading came from nowhere")
			}
			err = l.atAnotherSpeed(err, func(_ context.Context, port string) (int, error) {
				if port != "/dev/invented" || !source.closed {
					t.Errorf("looked at %s, closed %t", port, source.closed)
				}
				return tt.baud, tt.err
			})
			h, ok := errors.AsType[*hinted](err)
			if !ok || !strings.Contains(h.hint, tt.hint) || !strings.Contains(err.Error(), "no reading") {
				t.Errorf("%v, %+v; want the hint %q", err, h, tt.hint)
			}
		})
	}
}
