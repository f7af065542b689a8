package survey

import (
	"errors"
	"fmt"
	"slices"
	"testing"
)

func craftOf(together map[string][]string, names ...string) *Craft {
	c := &Craft{}
	for _, n := range names {
		c.Loads = append(c.Loads, Load{Name: n, Kind: LoadCurrent, MaxCurrentA: 1, TogetherWith: together[n]})
	}
	return c
}

func TestCombinations(t *testing.T) {
	for _, test := range []struct {
		name     string
		loads    []string
		together map[string][]string
		want     string
	}{
		{"none", nil, nil, "[]"},
		{"alone", []string{"a", "b"}, nil, "[[a] [b]]"},
		{"one-sided", []string{"a", "b", "c"}, map[string][]string{"c": {"a"}}, "[[a c] [b]]"},
		{"chain", []string{"a", "b", "c"}, map[string][]string{"b": {"a", "c"}}, "[[a b] [b c]]"},
		{"triangle and tail", []string{"a", "b", "c", "d"}, map[string][]string{"a": {"b", "c"}, "b": {"c"}, "d": {"c"}}, "[[a b c] [c d]]"},
		{"square", []string{"a", "b", "c", "d"}, map[string][]string{"a": {"b"}, "b": {"c"}, "c": {"d"}, "d": {"a"}}, "[[a b] [a d] [b c] [c d]]"},
	} {
		if got := fmt.Sprint(craftOf(test.together, test.loads...).Combinations()); got != test.want {
			t.Errorf("%s: %s, want %s", test.name, got, test.want)
		}
	}
}

// A graph of n = 3k vertices in k groups of three, joined but within the
// groups, has 3^k maximal cliques, the most that n vertices can have.
// Source: J. W. Moon, L. Moser, On cliques in graphs, Israel Journal of
// Mathematics 3 (1965) 23-28.
func TestMostCombinations(t *testing.T) {
	for groups, want := range map[int]int{2: 9, 3: 27, 6: 729} {
		var names []string
		together := map[string][]string{}
		for i := range 3 * groups {
			names = append(names, fmt.Sprintf("load %d", i))
		}
		for i, a := range names {
			for j, b := range names {
				if i/3 != j/3 {
					together[a] = append(together[a], b)
				}
			}
		}
		c := craftOf(together, names...)
		if got := len(c.Combinations()); got != want {
			t.Errorf("%d groups: %d combinations, want %d", groups, got, want)
		}
		for _, set := range c.Combinations() {
			if len(set) != groups {
				t.Fatalf("a set of %d loads, want %d", len(set), groups)
			}
		}
	}
}

func TestTogetherAndStates(t *testing.T) {
	c := craftOf(map[string][]string{"a": {"b"}}, "a", "b", "half throttle")
	for _, test := range []struct {
		a, b string
		want bool
	}{{"a", "b", true}, {"b", "a", true}, {"a", "a", true}, {"a", "half throttle", false}, {"a", "x", false}, {"x", "x", false}} {
		if got := c.Together(test.a, test.b); got != test.want {
			t.Errorf("%s with %s: %v", test.a, test.b, got)
		}
	}
	for _, name := range []string{"background", "unpowered", "half throttle"} {
		if err := c.State(name); err != nil {
			t.Error(err)
		}
	}
	err := c.State("half throtle")
	bad, ok := errors.AsType[*StateError](err)
	if !ok || bad.Suggest != "half throttle" || !slices.Equal(bad.Known, c.States()) {
		t.Fatalf("%+v", err)
	}
	if want := `no state is called "half throtle"; did you mean "half throttle"? (states: "background", "unpowered", "a", "b", "half throttle")`; err.Error() != want {
		t.Errorf("%s", err)
	}
	if l, ok := c.LoadByName("b"); !ok || l.Name != "b" {
		t.Errorf("%+v, %v", l, ok)
	}
	if _, ok := c.LoadByName(""); ok {
		t.Error("a load without a name")
	}
}
