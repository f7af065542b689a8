package live

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// BenchmarkPageCost measures the share of one processor that the browser takes
// for a page that shows a pulsed dwell at 100 readings a second: its renderer,
// which runs the page, and its drawing process. The figures beside livePace are
// from here, with -benchtime 20s.
func BenchmarkPageCost(b *testing.B) {
	bench := openBenchOf(b, catamaran(b, fewStations), 100, 5, 1)
	page, _ := walkTab(b, bench, 1280, 800, false)
	begin(b, page, "left thruster", `f.elements.pulses.value = "6"; f.elements.on_s.value = "3"`)
	confirmAll(b, page)
	press(b, page, " ")
	until(b, page, `document.querySelector("#w-pulse") && !document.querySelector("#w-pulse").hidden`, 20)
	used, from := childTicks(b), time.Now()
	for b.Loop() {
		time.Sleep(100 * time.Millisecond)
	}
	after, took := childTicks(b), time.Since(from).Seconds()
	most := map[string]int{"renderer": 0, "gpu-process": 0} // the browser's first, empty tab has a renderer too
	for pid, ticks := range after {
		if kind := processKind(pid); kind != "" {
			most[kind] = max(most[kind], ticks-used[pid])
		}
	}
	for _, kind := range []string{"renderer", "gpu-process"} {
		b.ReportMetric(100*float64(most[kind])/ticksPerS/took, "%"+kind)
	}
}

// ticksPerS is the unit of proc(5): USER_HZ, 100 on every Linux that Go runs on.
const ticksPerS = 100

// childTicks are the processor ticks so far of the processes that descend from
// this one. Source: proc_pid_stat(5), fields ppid, utime and stime.
func childTicks(b *testing.B) map[int]int {
	b.Helper()
	files, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		b.Fatal(err)
	}
	parent, ticks := map[int]int{}, map[int]int{}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			continue // it has ended
		}
		pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(name)))
		fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
		var ppid, user, system int
		if _, err := fmt.Sscan(fields[1]+" "+fields[11]+" "+fields[12], &ppid, &user, &system); err != nil {
			b.Fatal(err)
		}
		parent[pid], ticks[pid] = ppid, user+system
	}
	mine := map[int]int{}
	for pid := range ticks {
		for up := parent[pid]; up > 1; up = parent[up] {
			if up == os.Getpid() {
				mine[pid] = ticks[pid]
				break
			}
		}
	}
	return mine
}

// processKind is what the browser started a process for, in its own word; empty for
// others.
func processKind(pid int) string {
	line, _ := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid)) // empty: it has ended
	_, after, _ := strings.Cut(string(line), "--type=")
	if end := strings.IndexAny(after, " \x00"); end >= 0 {
		after = after[:end]
	}
	return after
}
