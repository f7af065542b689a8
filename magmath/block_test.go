package magmath

import (
	"testing"

	"gonum.org/v1/gonum/mat"
)

func TestBlocks(t *testing.T) {
	s := mat.NewSymDense(9, nil)
	own, across := Mat3{{1, 2, 3}, {2, 4, 5}, {3, 5, 6}}, Mat3{{1, 2, 3}, {4, 5, 6}, {7, 8, 9}}
	for range 2 {
		AddBlock(s, 3, 3, own)
		AddBlock(s, 3, 6, across)
		AddBlock(s, 6, 3, across.Transpose()) // the mirror image does not count again
	}
	for _, c := range []struct {
		row, col int
		want     Mat3
	}{{3, 3, own.Scale(2)}, {3, 6, across.Scale(2)}, {6, 3, across.Transpose().Scale(2)}, {0, 3, Mat3{}}, {6, 6, Mat3{}}} {
		if got := Block(s, c.row, c.col); got != c.want {
			t.Errorf("block at %d, %d: %v, want %v", c.row, c.col, got, c.want)
		}
	}
	if got, want := Block(across.Sym(), 0, 0), (Mat3{{1, 3, 5}, {3, 5, 7}, {5, 7, 9}}); got != want {
		t.Errorf("symmetric part %v, want %v", got, want)
	}
}
