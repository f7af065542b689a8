//go:build linux || darwin

package live

import (
	"slices"
	"syscall"
	"testing"
	"time"
)

// BenchmarkSampleToScreen measures, at 100 readings a second during a walk, the
// milliseconds from a reading's arrival to the frame in which the page draws it,
// and the share of one processor that the server takes meanwhile with one page
// following, simulated module included. Page and server read the same clock.
func BenchmarkSampleToScreen(b *testing.B) {
	bench := openBenchOf(b, catamaran(b, fewStations), 100, 5, 1)
	page, _ := walkTab(b, bench, 1280, 800, false)
	begin(b, page, "unpowered", "")
	confirmAll(b, page)
	until(b, page, `bench.drawn`, 10)
	eval[bool](b, page, `(() => {
		window.ages = [];
		let last = 0;
		const look = () => {
			if (bench.drawn.at_ms !== last) { last = bench.drawn.at_ms; ages.push(bench.drawn.now_ms - last); }
			requestAnimationFrame(look);
		};
		requestAnimationFrame(look);
		return true;
	})()`)
	used, from := processorS(), time.Now()
	for b.Loop() {
		time.Sleep(100 * time.Millisecond)
	}
	share := (processorS() - used) / time.Since(from).Seconds()
	ages := eval[[]float64](b, page, "ages")
	if len(ages) == 0 {
		b.Fatal("nothing was drawn")
	}
	slices.Sort(ages)
	b.ReportMetric(ages[len(ages)/2], "ms-median")
	b.ReportMetric(ages[len(ages)*95/100], "ms-p95")
	b.ReportMetric(float64(len(ages))/time.Since(from).Seconds(), "draws/s")
	b.ReportMetric(100*share, "%processor")
}

// processorS is the processor time that this process has used.
func processorS() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	s := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return s(u.Utime) + s(u.Stime)
}
