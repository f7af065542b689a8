//go:build linux || darwin

package live

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// TestLooks opens every step at the sizes and in the schemes that the page is
// for: nothing sticks out sideways, no target is under 24 px (WCAG 2.2, success
// criterion 2.5.8), nothing on the console. With -artifacts the pictures stay.
func TestLooks(t *testing.T) {
	b := openBench(t, catamaran(t, nil), 50)
	chrome := browser(t)
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"phone", 360, 780}, {"laptop", 1280, 800}, {"wide", 3840, 2160}} {
		for _, dark := range []bool{false, true} {
			name := size.name
			if dark {
				name += "-dark"
			}
			t.Run(name, func(t *testing.T) {
				ctx, c := tab(t, chrome, b.Address(b.host, time.Minute), size.width, size.height, dark)
				for _, step := range stepNames() {
					eval[string](t, ctx, fmt.Sprintf("location.hash = %q", strings.ToLower(step)))
					until(t, ctx, fmt.Sprintf("bench.step === %q && !document.querySelector('.step:not([hidden]) [aria-busy]')", strings.ToLower(step)), 20)
					if out := eval[int](t, ctx, "document.documentElement.scrollWidth - innerWidth"); out > 0 {
						t.Errorf("%s sticks out by %d px", step, out)
					}
					if small := eval[string](t, ctx, smallTargets); small != "" {
						t.Errorf("%s: targets under 24 px: %s", step, small)
					}
					shot(t, ctx, name+"-"+strings.ToLower(step))
				}
				c.check(t)
			})
		}
	}
}

const smallTargets = `[...document.querySelectorAll("button, input, select, summary, .button, .tape a")].filter(e => {
	const r = e.getBoundingClientRect();
	const l = e.labels?.[0]?.getBoundingClientRect();
	return r.width > 0 && Math.max(r.height, l?.height || 0) < 24 || r.width > 0 && Math.max(r.width, l?.width || 0) < 24;
}).map(e => e.outerHTML.slice(0, 80)).join("\n")`
