//go:build !linux

package logbook_test

import "testing"

func smallDisk(t *testing.T) string {
	t.Helper()
	t.Skip("a small disk can be mounted on Linux only; TestFullDisk covers the rest")
	return ""
}
