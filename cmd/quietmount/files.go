package main

import (
	"bytes"

	"github.com/natefinch/atomic"
)

// writeFile writes a whole file or leaves what was there.
func writeFile(name string, data []byte) error {
	return atomic.WriteFile(name, bytes.NewReader(data))
}
