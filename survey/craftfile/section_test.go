package craftfile

import (
	"slices"
	"testing"
)

func TestCraftKeysAreDistinct(t *testing.T) {
	for _, s := range sections() {
		if sorted := slices.Sorted(slices.Values(s.keys)); len(slices.Compact(sorted)) != len(s.keys) {
			t.Errorf("%s has a key twice", s.heading())
		}
	}
}
