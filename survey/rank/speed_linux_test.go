package rank

import (
	"fmt"
	"syscall"
	"testing"

	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/sim"
	"quietmount/survey/sim/walktest"
)

// BenchmarkSizes measures how evaluating and ranking grow with the number of
// stations, in seconds of processor time besides those on the wall. Each survey
// has four runs: background, unpowered and two loads, pulsed or walked. The peak
// of the memory is that of the process, so that one case alone shows its own:
//
//	GOMAXPROCS=1 go test -run '^$' -bench 'Sizes/666_stations,_pulsed' -count 10 ./survey/rank
func BenchmarkSizes(b *testing.B) {
	for _, spacing := range []float64{66, 36, 20} {
		w := walktest.Sandpiper(b, 1)
		w.Craft.Grid.SpacingMM = spacing
		for _, how := range []string{"pulsed", "walked"} {
			b.Run(fmt.Sprintf("%d stations, %s", len(w.Craft.Stations()), how), func(b *testing.B) {
				runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 1, how == "pulsed")
				b.ReportAllocs()
				used := processorS(b)
				for b.Loop() {
					if _, err := Rank(b.Context(), evaluatetest.Evaluate(b, w.Craft, runs), Options{}); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
				b.ReportMetric(peakMB(b), "peak-MB")
			})
		}
	}
}

func usage(b *testing.B) syscall.Rusage {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return u
}

// processorS is the processor time of this process so far, user and system.
func processorS(b *testing.B) float64 {
	u := usage(b)
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// peakMB is the most memory that this process has had so far.
// Source: getrusage(2): ru_maxrss is in units of 1024 bytes on Linux.
func peakMB(b *testing.B) float64 { return float64(usage(b).Maxrss) * 1024 / 1e6 }
