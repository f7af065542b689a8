package geomag

// Elements are the elements of the geomagnetic field at one place and date,
// and their yearly changes: X north, Y east, Z down, H horizontal, F total in
// nanotesla; D east of true north and I below the horizontal in degrees.
type Elements struct {
	X, Y, Z, H, F, D, I                      float64
	DotX, DotY, DotZ, DotH, DotF, DotD, DotI float64 // a year
}
