package serve

import (
	"fmt"
	"strings"
	"testing"
)

func topics(ms []message) string {
	var b strings.Builder
	for _, m := range ms {
		fmt.Fprintf(&b, "%d:%s=%s ", m.number, m.topic, m.data)
	}
	return strings.TrimSpace(b.String())
}

func TestStreamNumbersEventsAndKeepsTheNewestValue(t *testing.T) {
	s := NewStream("ep")
	s.Say("a", 1) // before anybody follows: not for those who come fresh
	s.Show("x", "old")
	f, missed := s.follow("")
	if missed {
		t.Error("a fresh page missed something")
	}
	s.Show("x", "new")
	s.Show("y", true)
	s.Say("a", 2)
	s.Say("b", 3)
	if got := topics(s.events(f)); got != "2:a=2 3:b=3" {
		t.Errorf("events %s", got)
	}
	if got := topics(s.values(f)); got != `0:x="new" 0:y=true` {
		t.Errorf("values %s", got)
	}
	if e, v := s.events(f), s.values(f); len(e)+len(v) != 0 {
		t.Errorf("once more: %s %s", topics(e), topics(v))
	}
}

func TestStreamReplaysAfterALostLine(t *testing.T) {
	s := NewStream("ep")
	for i := range 10 {
		s.Say("a", i)
	}
	f, missed := s.follow("ep-7")
	if got := topics(s.events(f)); missed || got != "8:a=7 9:a=8 10:a=9" {
		t.Errorf("missed %t, %s", missed, got)
	}
	f, missed = s.follow("ep-10")
	if got := topics(s.events(f)); missed || got != "" {
		t.Errorf("up to date: missed %t, %s", missed, got)
	}
	for i := range keptEvents {
		s.Say("b", i)
	}
	if _, missed = s.follow("ep-9"); !missed {
		t.Error("an event is gone and nobody says so")
	}
	if f, missed = s.follow("ep-10"); missed || len(s.events(f)) != keptEvents {
		t.Error("the oldest event kept is not replayed")
	}
	for _, id := range []string{"other-3", "ep-", "ep--1", "ep-99999999", "3", "ep-1e3"} {
		f, missed := s.follow(id)
		if !missed || len(s.events(f)) != 0 {
			t.Errorf("%q: missed %t", id, missed)
		}
	}
}

func TestStreamDoesNotWaitAndIsBounded(t *testing.T) {
	s := NewStream("ep")
	var all []*follower
	for range maxFollowers {
		f, _ := s.follow("")
		all = append(all, f)
	}
	if f, _ := s.follow(""); f != nil {
		t.Error("one too many is let in")
	}
	for i := range 100_000 { // nobody reads; would never end if it waited
		s.Show("x", i)
	}
	if got := topics(s.values(all[7])); got != "0:x=99999" {
		t.Errorf("a slow page gets %s", got)
	}
	s.leave(all[0])
	if f, _ := s.follow(""); f == nil || s.Followers() != maxFollowers {
		t.Error("the place that became free is not given away")
	}
	s.Show("bad", func() {})
	if got := topics(s.values(all[8])); !strings.Contains(got, `bad={"error"`) {
		t.Errorf("a value that cannot be written: %s", got)
	}
}
