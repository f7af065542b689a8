//go:build linux || darwin

package live

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"quietmount/survey/craftfile"
)

// lookAway and lookBack hide a page and show it again, as changing tabs does.
const (
	lookAway = `(Object.defineProperty(document, "hidden", { configurable: true, value: true }), document.dispatchEvent(new Event("visibilitychange")))`
	lookBack = `(Object.defineProperty(document, "hidden", { configurable: true, value: false }), document.dispatchEvent(new Event("visibilitychange")))`
)

// TestHiddenPagesGiveTheirStreamsUp opens more pages than a browser opens
// connections to one server, which is six: each that is hidden makes room, and
// is up to date when it is shown again. While something goes on a hidden page
// keeps its stream until another one is looked at.
func TestHiddenPagesGiveTheirStreamsUp(t *testing.T) {
	chrome := browser(t)
	l := localListener(t)
	host := l.Addr().String()
	s := newBench(t, Options{Dir: catamaran(t, nil), Hosts: []string{host}})
	serveUntilTheEnd(t, s, l)
	open := func() context.Context {
		page, _ := tab(t, chrome, s.Address(host, time.Minute), 800, 600, false)
		until(t, page, `bench.follows && document.querySelector("#gone").hidden`, 20)
		return page
	}
	first := open()
	eval[bool](t, first, `(bench.panel("test", { busy: () => true }), `+lookAway+`)`)
	if !eval[bool](t, first, `bench.follows`) {
		t.Error("a hidden page gives its stream up while something goes on, and is not heard any more")
	}
	for range 5 {
		page := open()
		eval[bool](t, page, lookAway)
		until(t, page, `!bench.follows`, 5)
	}
	last := open()
	until(t, first, `!bench.follows`, 5)

	craft := filepath.Join(s.bench.Dir, craftfile.Name)
	text, err := os.ReadFile(craft)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(craft, []byte(strings.Replace(string(text), `"Sandpiper"`, `"Dunlin"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	until(t, last, `document.querySelector("#craft").textContent === "Dunlin"`, 10)
	if is := eval[string](t, first, `document.querySelector("#craft").textContent`); is != "Sandpiper" {
		t.Errorf("a hidden page follows: %s", is)
	}
	eval[bool](t, first, lookBack)
	until(t, first, `bench.follows && document.querySelector("#craft").textContent === "Dunlin"`, 10)
}
