package disk

import (
	"bufio"
	"context"
	"errors"
	"strings"
	"testing"
)

func TestReaderEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	lines := bufio.NewReaderSize(Reader(ctx, strings.NewReader(strings.Repeat("a line of a file\n", 1000))), 16)
	if line, err := lines.ReadString('\n'); line != "a line of a file\n" || err != nil {
		t.Fatalf("%q, %v", line, err)
	}
	cancel()
	if _, err := lines.ReadString('x'); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end of the context: %v", err)
	}
}
