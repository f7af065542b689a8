package sim

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Shape is how the module prints a sample.
type Shape string

// The shapes: what microcontroller sketches are seen to print.
const (
	ShapePlain   Shape = "plain"   // 12.50,-3.25,40.00
	ShapeSpaces  Shape = "spaces"  // 12.50 -3.25 40.00
	ShapeTabs    Shape = "tabs"    // tab between
	ShapeSemi    Shape = "semi"    // 12.50; -3.25; 40.00
	ShapeMillis  Shape = "millis"  // clock in milliseconds first
	ShapeHeading Shape = "heading" // heading behind
	ShapeLabels  Shape = "labels"  // X: 12.50  Y: -3.25  Z: 40.00  uT
	ShapeUnits   Shape = "units"   // a unit after each value
	ShapeGauss   Shape = "gauss"   // X: 0.125g  Y: ... where g is gauss
	ShapeEquals  Shape = "equals"  // x = 12.50 and tabs
	ShapeTuple   Shape = "tuple"   // Mag (x, y, z): (12.50, -3.25, 40.00)
	ShapeClocked Shape = "clocked" // the same behind a terminal's clock
	ShapeNine    Shape = "nine"    // header, then accelerometer, gyroscope, magnetometer
	ShapeMarked  Shape = "marked"  // nine labelled values
	ShapeTokens  Shape = "tokens"  // three lines >magX:12.50
	ShapeAxes    Shape = "axes"    // three lines MX: 12.50
	ShapeJSON    Shape = "json"    // {"magX": 12.50, ...}
	ShapeLog     Shape = "log"     // a log's prefix in colours
	ShapeCurrent Shape = "current" // header, then clock, field and the load's current
	ShapeLoadOn  Shape = "load_on" // header, then clock, field and whether the load is on
)

// Shapes returns all shapes, in order.
func Shapes() []Shape {
	return []Shape{
		ShapePlain, ShapeSpaces, ShapeTabs, ShapeSemi, ShapeMillis, ShapeHeading, ShapeLabels, ShapeUnits, ShapeGauss, ShapeEquals,
		ShapeTuple, ShapeClocked, ShapeNine, ShapeMarked, ShapeTokens, ShapeAxes, ShapeJSON, ShapeLog, ShapeCurrent, ShapeLoadOn,
	}
}

// reading is what one line has to say.
type reading struct {
	t        float64 // seconds since the board started
	b        r3.Vec
	acc      r3.Vec
	currentA float64
	on       bool
}

// header returns the line the sketch prints first; empty: none.
func (s Shape) header() string {
	switch s {
	case ShapeNine:
		return "ax,ay,az,gx,gy,gz,mx,my,mz"
	case ShapeCurrent:
		return "t_ms,bx_ut,by_ut,bz_ut,current_a"
	case ShapeLoadOn:
		return "t_ms,bx_ut,by_ut,bz_ut,load_on"
	}
	return ""
}

// lines prints one reading; an unknown shape prints as plain.
func (s Shape) lines(r reading) []string {
	x, y, z := r.b.X, r.b.Y, r.b.Z
	one := func(format string, a ...any) []string { return []string{fmt.Sprintf(format, a...)} }
	ms := math.Round(r.t * 1000)
	switch s {
	case ShapeSpaces:
		return one("%.2f %.2f %.2f", x, y, z)
	case ShapeTabs:
		return one("%.2f\t%.2f\t%.2f", x, y, z)
	case ShapeSemi:
		return one("%.2f; %.2f; %.2f", x, y, z)
	case ShapeMillis:
		return one("%.0f,%.2f,%.2f,%.2f", ms, x, y, z)
	case ShapeHeading:
		return one("%.2f,%.2f,%.2f,%.2f", x, y, z, heading(x, y))
	case ShapeLabels:
		return one("X: %.2f  Y: %.2f  Z: %.2f  uT", x, y, z)
	case ShapeUnits:
		return one("X: %.2f uT, Y: %.2f uT, Z: %.2f uT", x, y, z)
	case ShapeGauss:
		return one("X: %.4fg  Y: %.4fg  Z: %.4fg", x/100, y/100, z/100)
	case ShapeEquals:
		return one("x = %.2f\ty = %.2f\tz = %.2f", x, y, z)
	case ShapeTuple:
		return one("Mag (x, y, z): (%.6f, %.6f, %.6f)", x, y, z)
	case ShapeClocked:
		return one("%s -> Mag (x, y, z): (%.6f, %.6f, %.6f)", clock(r.t), x, y, z)
	case ShapeNine:
		return one("%.4f,%.4f,%.4f,0.01,-0.02,0.00,%.2f,%.2f,%.2f", r.acc.X, r.acc.Y, r.acc.Z, x, y, z)
	case ShapeMarked:
		return one("Ax: %.4f\tAy: %.4f\tAz: %.4f\tGx: 0.01\tGy: -0.02\tGz: 0.00\tMx: %.2f\tMy: %.2f\tMz: %.2f", r.acc.X, r.acc.Y, r.acc.Z, x, y, z)
	case ShapeTokens:
		return []string{fmt.Sprintf(">magX:%.2f", x), fmt.Sprintf(">magY:%.2f", y), fmt.Sprintf(">magZ:%.2f", z)}
	case ShapeAxes:
		return []string{fmt.Sprintf("MX: %.2f", x), fmt.Sprintf("MY: %.2f", y), fmt.Sprintf("MZ: %.2f", z)}
	case ShapeJSON:
		return one(`{"magX": %.3f, "magY": %.3f, "magZ": %.3f}`, x, y, z)
	case ShapeLog:
		return one("\x1b[0;36m[D][main:087]: %.2f,%.2f,%.2f\x1b[0m", x, y, z)
	case ShapeCurrent:
		return one("%.0f,%.2f,%.2f,%.2f,%.2f", ms, x, y, z, r.currentA)
	case ShapeLoadOn:
		on := 0
		if r.on {
			on = 1
		}
		return one("%.0f,%.2f,%.2f,%.2f,%d", ms, x, y, z, on)
	}
	return one("%.2f,%.2f,%.2f", x, y, z)
}

func heading(x, y float64) float64 { return math.Mod(math.Atan2(-y, x)*180/math.Pi+360, 360) }

// clock returns a wall clock that was at noon when the board started.
func clock(t float64) string {
	ms := int64(math.Round(t*1000)) % (12 * 3600 * 1000)
	return fmt.Sprintf("%02d:%02d:%02d.%03d", 12+ms/3600000, ms/60000%60, ms/1000%60, ms%1000)
}
