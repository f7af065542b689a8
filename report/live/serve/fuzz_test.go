package serve

import (
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzForm reads every kind of field from any query: no panic, and what is
// taken is within the bounds asked for.
func FuzzForm(f *testing.F) {
	for _, q := range []string{"a=12,5", "a=1e400", "a=0x1p-2", "a=NaN", "a=1_000", "a=+inf", "a=30,5+cm", "a=7+1/2%22", "a=%ff%00", "a=on&a=off&a=1", "a=1.234,5", "a=-0", "b=&&;"} {
		f.Add(q)
	}
	f.Fuzz(func(t *testing.T, query string) {
		values, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		form := Form{values}
		if v, err := form.Number("a", -5, 360); err == nil && v != nil && !(*v >= -5 && *v <= 360) {
			t.Errorf("number %v", *v)
		}
		if n, err := form.Int("a", 3, 0, 10); err == nil && (n < 0 || n > 10) {
			t.Errorf("int %d", n)
		}
		if text, err := form.Text("a", 20); err == nil && (!utf8.ValidString(text) || utf8.RuneCountInString(text) > 20 || strings.ContainsRune(text, 0)) {
			t.Errorf("text %q", text)
		}
		if word, err := form.Pick("a", "x", "y"); err == nil && word != "x" && word != "y" {
			t.Errorf("picked %q", word)
		}
		if all, err := form.All("a", 2); err == nil && len(all) > 2 {
			t.Errorf("%d values", len(all))
		}
		form.On("a")
	})
}

// FuzzLastEventID follows after any id: no panic, and never an event of the
// future or one twice.
func FuzzLastEventID(f *testing.F) {
	for _, id := range []string{"", "ep-0", "ep-3", "ep-7", "ep-8", "other-2", "ep--1", "ep-99999999999999999999", "-", "ep-+3"} {
		f.Add(id)
	}
	f.Fuzz(func(t *testing.T, id string) {
		s := NewStream("ep")
		for i := range 7 {
			s.Say("a", i)
		}
		fo, missed := s.follow(id)
		got := s.events(fo)
		if missed && len(got) > 0 {
			t.Errorf("%q: missed, and %d events", id, len(got))
		}
		for i, m := range got {
			if m.number != 7-len(got)+i+1 {
				t.Errorf("%q: event %d at place %d of %d", id, m.number, i, len(got))
			}
		}
	})
}
