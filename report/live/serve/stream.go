package serve

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Stream carries events and live values to every page that follows. Putting
// something in never waits for a page: a slow page misses live values, and a
// page that comes back after a long absence starts from the newest ones.
type Stream struct {
	epoch string // tells this server from an earlier one on the same port

	// Deserted, if not nil, is called when the last page has stopped following.
	// Set it before the first page comes.
	Deserted func()

	mu        sync.Mutex
	last      int       // number of the newest event
	kept      []message // the newest events, in order
	shown     map[string]message
	topics    []string // of shown, in the order in which they first came
	followers map[*follower]struct{}
}

// message is one event or value as it goes out.
type message struct {
	number int // 0 for a live value
	topic  string
	data   []byte
}

const (
	keptEvents   = 512 // events that are replayed to a page that was away
	maxFollowers = 256 // pages at a time
)

// NewStream returns an empty stream. epoch is a word of this server's own.
func NewStream(epoch string) *Stream {
	return &Stream{epoch: epoch, shown: map[string]message{}, followers: map[*follower]struct{}{}}
}

// Say sends an event: every page gets it once, in order, also one whose
// connection was lost meanwhile.
func (s *Stream) Say(topic string, v any) { s.put(topic, v, true) }

// Show sends a value of which only the newest matters. A page that comes later
// gets the newest value of every topic first.
func (s *Stream) Show(topic string, v any) { s.put(topic, v, false) }

func (s *Stream) put(topic string, v any, numbered bool) {
	data, err := json.Marshal(v)
	if err != nil {
		data, _ = json.Marshal(map[string]string{"error": err.Error()})
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	m := message{topic: topic, data: data}
	if numbered {
		s.last++
		m.number = s.last
		s.kept = append(s.kept, m)
		if n := len(s.kept) - keptEvents; n > 0 {
			s.kept = slices.Delete(s.kept, 0, n)
		}
	} else {
		if _, known := s.shown[topic]; !known {
			s.topics = append(s.topics, topic)
		}
		s.shown[topic] = m
	}
	for f := range s.followers {
		if !numbered {
			f.stale[topic] = true
		}
		f.nudge()
	}
}

// Latest returns the newest value of a topic as JSON; nil if none was shown.
func (s *Stream) Latest(topic string) []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.shown[topic].data
}

// Followers returns how many pages follow.
func (s *Stream) Followers() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.followers)
}

// follower is one page.
type follower struct {
	next  int             // number of the next event to send
	stale map[string]bool // live topics with a value not sent yet
	wake  chan struct{}
}

func (f *follower) nudge() {
	select {
	case f.wake <- struct{}{}:
	default:
	}
}

// follow adds a page that has had the events up to lastID; empty: it gets those
// from now on. missed reports that events in between are lost, or that lastID is
// of another server: what the page shows may be out of date. nil: too many pages
// follow already.
func (s *Stream) follow(lastID string) (f *follower, missed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.followers) >= maxFollowers {
		return nil, false
	}
	f = &follower{next: s.last + 1, stale: map[string]bool{}, wake: make(chan struct{}, 1)}
	if lastID != "" {
		n, ours := s.parseID(lastID)
		oldest := s.last + 1 - len(s.kept)
		missed = !ours || n+1 < oldest
		if !missed {
			f.next = n + 1
		}
	}
	for _, t := range s.topics {
		f.stale[t] = true
	}
	f.nudge()
	s.followers[f] = struct{}{}
	return f, missed
}

func (s *Stream) leave(f *follower) {
	s.mu.Lock()
	delete(s.followers, f)
	last := len(s.followers) == 0
	s.mu.Unlock()
	if last && s.Deserted != nil {
		s.Deserted()
	}
}

// events returns the numbered messages that f has not had.
func (s *Stream) events(f *follower) []message {
	s.mu.Lock()
	defer s.mu.Unlock()
	skip := len(s.kept) - (s.last - f.next + 1)
	f.next = s.last + 1
	return slices.Clone(s.kept[max(0, min(skip, len(s.kept))):])
}

// values returns the newest live values that f has not had.
func (s *Stream) values(f *follower) []message {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []message
	for _, t := range s.topics {
		if f.stale[t] {
			out = append(out, s.shown[t])
		}
	}
	clear(f.stale)
	return out
}

func (s *Stream) id(number int) string { return fmt.Sprintf("%s-%d", s.epoch, number) }

// parseID reads an event's number back; false if another server gave it.
func (s *Stream) parseID(id string) (int, bool) {
	epoch, number, ok := strings.Cut(id, "-")
	n, err := strconv.Atoi(number)
	if !ok || err != nil || epoch != s.epoch || n < 0 || n > s.last {
		return 0, false
	}
	return n, true
}
