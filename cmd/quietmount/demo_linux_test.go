package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// BenchmarkDemo measures the demonstrations and the record of the committed
// example, in seconds of processor time besides those on the wall.
func BenchmarkDemo(b *testing.B) {
	for _, bench := range []struct {
		name string
		args []string
	}{
		{"small", []string{"demo", "--small"}},
		{"whole", []string{"demo"}},
	} {
		b.Run(bench.name, func(b *testing.B) {
			used, n := processorS(b), 0
			for top := b.TempDir(); b.Loop(); n++ {
				measured(b, append(bench.args, "--out", filepath.Join(top, fmt.Sprint(n)))...)
			}
			b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
		})
	}
	b.Run("record", func(b *testing.B) {
		dir := filepath.Join(b.TempDir(), "x")
		measured(b, "demo", "--small", "--out", dir)
		b.ResetTimer()
		used := processorS(b)
		for b.Loop() {
			measured(b, "record", dir)
		}
		b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
	})
}

// measured runs the program in this process.
func measured(b *testing.B, args ...string) {
	b.Helper()
	var out, stderr strings.Builder
	sh := shell{In: strings.NewReader(""), Out: &out, Err: &stderr, Now: time.Now, Getenv: func(string) string { return "" }}
	if status := run(b.Context(), args, sh); status != 0 {
		b.Fatalf("quietmount %q: exit status %d\n%s%s", args, status, out.String(), stderr.String())
	}
}

// processorS is the processor time of this process so far, user and system.
func processorS(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
