package arrow

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow/arrowtest"
	"quietmount/magmath/simtest"
)

// turnOf is the rotation by |v| degrees about v.
func turnOf(v r3.Vec) magmath.Mat3 {
	angle := r3.Norm(v)
	if angle == 0 {
		return magmath.Identity()
	}
	k := magmath.Cross(r3.Scale(1/angle, v))
	s, c := math.Sincos((angle * math.Pi / 180))
	return magmath.Identity().Add(k.Scale(s)).Add(k.Mul(k).Scale(1 - c))
}

// held simulates captures: craft frame = axes * sensor, a hand of so many
// degrees, noise and offset in microtesla.
func held(rng *rand.Rand, names []PoseName, axes magmath.Mat3, handDeg, noise float64, offset r3.Vec) []Pose {
	three := func(s float64) r3.Vec {
		return r3.Vec{X: s * rng.NormFloat64(), Y: s * rng.NormFloat64(), Z: s * rng.NormFloat64()}
	}
	var out []Pose
	for _, n := range names {
		want, ok := n.In(arrowtest.Place)
		if !ok {
			panic(n)
		}
		got := axes.Transpose().Apply(turnOf(three(handDeg)).Apply(want))
		out = append(out, Pose{Name: n, Want: want, Got: r3.Add(r3.Add(got, offset), three(noise)), NoiseUT: noise})
	}
	return out
}

var level = []PoseName{NoseNorth, NoseEast, NoseSouth, NoseWest}

func TestPosesAreRotations(t *testing.T) {
	// Each pose turns the field and the vertical together: lengths and the angle
	// between two different fields stay.
	a, b := r3.Vec{X: 3, Y: -5, Z: 7}, r3.Vec{X: -2, Y: 11, Z: 1}
	for _, n := range PoseNames() {
		x, ok1 := n.In(a)
		y, ok2 := n.In(b)
		if !ok1 || !ok2 || math.Abs(r3.Dot(x, y)-r3.Dot(a, b)) > 1e-9 || r3.Norm(r3.Sub(r3.Cross(x, y), first(n.In(r3.Cross(a, b))))) > 1e-9 {
			t.Errorf("%s is no rotation", n)
		}
	}
	// Yaw and pitch by elementary rotations (ISO 1151).
	for n, a := range map[PoseName][3]float64{NoseEast: {90}, NoseWest: {270}, NoseUp: {0, 90}, NoseDown: {0, -90}, RightDown: {0, 0, 90}, LeftDown: {0, 0, -90}, Inverted: {0, 0, 180}} {
		if got, want := first(n.In(arrowtest.Place)), arrowtest.BodyOf(arrowtest.Place, a); r3.Norm(r3.Sub(got, want)) > 1e-9 {
			t.Errorf("%s: %v, want %v", n, got, want)
		}
	}
	if _, ok := PoseName("sideways").In(a); ok {
		t.Error("sideways is a pose")
	}
}

func first(v r3.Vec, _ bool) r3.Vec { return v }

func TestAllMountingsAreFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 0))
	for _, hand := range []float64{1, -1} {
		all := mountings(hand)
		if len(all) != 24 {
			t.Fatalf("%d mountings of hand %g, want 24", len(all), hand)
		}
		for i, m := range all {
			if slices.Contains(all[:i], m) {
				t.Errorf("mounting %v is there twice", m)
			}
			for _, calibrated := range []bool{true, false} {
				names, offset := append(slices.Clone(level), NoseDown), r3.Vec{X: 30, Y: -55, Z: 12}
				if calibrated {
					offset = r3.Vec{}
				}
				got, err := Check(held(rng, names, m, 1, 0.1, offset), Options{Calibrated: calibrated, Field: arrowtest.Place})
				if err != nil {
					t.Fatal(err)
				}
				if got.Mounting != m || got.Mirrored != (hand < 0) || got.ArrowPoints != WayOf(m.Apply(r3.Vec{X: 1})) || got.LabelFaces != WayOf(m.Apply(r3.Vec{Z: -1})) {
					t.Errorf("mounting %v of hand %g, calibrated %v: found %v, mirrored %v, %s, %s", m, hand, calibrated, got.Mounting, got.Mirrored, got.ArrowPoints, got.LabelFaces)
				}
			}
		}
	}
}

func TestArrowWords(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	// The sensor's x points to the left of the arrow, its y backwards, its z
	// down; the case is glued with the arrow to the right and the label down.
	axes := magmath.Mat3{{0, -1, 0}, {-1, 0, 0}, {0, 0, -1}}
	glued := magmath.Mat3{{0, 1, 0}, {1, 0, 0}, {0, 0, -1}}
	got, err := Check(held(rng, append(slices.Clone(level), NoseUp), turnOf(r3.Vec{Z: 7}).Mul(glued).Mul(axes), 0.2, 0.05, r3.Vec{}),
		Options{Calibrated: true, Field: arrowtest.Place, Axes: &axes, PoseDeg: 0.2})
	if err != nil {
		t.Fatal(err)
	}
	if got.ArrowPoints != ToRight || got.LabelFaces != ToDown || math.Abs(got.TwistDeg-7) > 0.5 || got.Mirrored || !got.Agree {
		t.Errorf("arrow %s, label %s, twist %.2f, mirrored %v", got.ArrowPoints, got.LabelFaces, got.TwistDeg, got.Mirrored)
	}
}

func TestArrowRefusals(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 0))
	for _, tt := range []struct {
		name       string
		poses      []PoseName
		calibrated bool
		missing    []PoseName // any of them
	}{
		{"none", nil, true, []PoseName{NoseNorth}},
		{"north and east", []PoseName{NoseNorth, NoseEast}, true, nil},
		{"one pose three times", []PoseName{NoseNorth, NoseNorth, NoseNorth}, true, nil},
		{"the quick three without calibration", []PoseName{NoseNorth, NoseEast, NoseDown}, false, nil},
		{"level only, without calibration", level, false, []PoseName{NoseUp, NoseDown, LeftDown, RightDown, Inverted}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Check(held(rng, tt.poses, magmath.Identity(), 1, 0.1, r3.Vec{}), Options{Calibrated: tt.calibrated, Field: arrowtest.Place})
			pe, ok := errors.AsType[*PosesError](err)
			if !ok || pe.Missing == "" || tt.missing != nil && !slices.Contains(tt.missing, pe.Missing) {
				t.Fatalf("got %v", err)
			}
			// The pose named settles it, or leads on to one that does.
			poses := slices.Clone(tt.poses)
			for range 4 {
				poses = append(poses, pe.Missing)
				_, err = Check(held(rng, poses, magmath.Identity(), 1, 0.1, r3.Vec{}), Options{Calibrated: tt.calibrated, Field: arrowtest.Place})
				if err == nil {
					return
				}
				if pe, ok = errors.AsType[*PosesError](err); !ok || slices.Contains(poses, pe.Missing) {
					break
				}
			}
			t.Errorf("with %v: %v", poses, err)
		})
	}
	for _, v := range []r3.Vec{{X: math.NaN()}, {Y: math.Inf(-1)}, {Z: 1e300}} {
		poses := held(rng, append(slices.Clone(level), NoseUp), magmath.Identity(), 1, 0.1, r3.Vec{})
		poses[1].Got = v
		if _, err := Check(poses, Options{Field: arrowtest.Place}); err == nil {
			t.Errorf("%v was taken", v)
		}
	}
	still := held(rng, append(slices.Clone(level), NoseUp), magmath.Identity(), 1, 0.1, r3.Vec{})
	for i := range still {
		still[i].Got = r3.Vec{X: 1, Y: 2, Z: 3}
	}
	if a, err := Check(still, Options{Field: arrowtest.Place}); err == nil && a.Agree {
		t.Errorf("a probe that never moved has %v", a)
	}
}

func TestQuickForm(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	got, err := Check(held(rng, []PoseName{NoseNorth, NoseEast, NoseDown}, magmath.Identity(), 1.5, 0.1, r3.Vec{}), Options{Calibrated: true, Field: arrowtest.Place})
	if err != nil || got.Mirrored || got.ArrowPoints != ToNose || got.LabelFaces != ToUp {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestOneBadPoseIsNamed(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 0))
	names := append(slices.Clone(level), NoseUp, NoseDown)
	missed, tries := 0, 0
	for bad := range names {
		for range 20 {
			poses := held(rng, names, magmath.Identity(), 1.5, 0.2, r3.Vec{X: 20})
			wrong := names[(bad+1+rng.IntN(len(names)-1))%len(names)]
			want, _ := names[bad].In(arrowtest.Place)
			poses[bad] = held(rng, []PoseName{wrong}, magmath.Identity(), 1.5, 0.2, r3.Vec{X: 20})[0]
			poses[bad].Name, poses[bad].Want = names[bad], want
			got, err := Check(poses, Options{Field: arrowtest.Place})
			tries++
			if err != nil || got.Left == nil || got.Left.Name != names[bad] || got.Left.Fits != wrong || got.Mirrored || got.ArrowPoints != ToNose {
				missed++
			}
		}
	}
	if missed > tries/20 {
		t.Errorf("%d of %d not named", missed, tries)
	}
}

// TestArrowAccuracy compares bias, scatter and the stated standard
// uncertainty, and how often the interval holds the truth.
func TestArrowAccuracy(t *testing.T) {
	trials := simtest.Trials(800, 4000)
	for _, tt := range []struct {
		name       string
		poses      []PoseName
		calibrated bool
	}{
		{"four level, calibrated", level, true},
		{"quick, calibrated", []PoseName{NoseNorth, NoseEast, NoseDown}, true},
		{"five, offset free", append(slices.Clone(level), NoseDown), false},
	} {
		rng := rand.New(rand.NewPCG(7, 0))
		var sum, sq, stated float64
		inside, n := 0, 0
		for range trials {
			twist := 8 * (rng.Float64() - .5)
			got, err := Check(held(rng, tt.poses, turnOf(r3.Vec{Z: twist}), 1.5, 0.2, r3.Vec{}), Options{Calibrated: tt.calibrated, Field: arrowtest.Place})
			if err != nil {
				continue // too contradictory by chance: refused
			}
			d := got.TwistDeg - twist
			sum, sq, stated = sum+d, sq+d*d, stated+got.TwistStandardDeg
			n++
			if math.Abs(d) < 1.96*got.TwistStandardDeg {
				inside++
			}
		}
		mean, scatter, cover := sum/float64(n), math.Sqrt(sq/float64(n)), float64(inside)/float64(n)
		t.Logf("%s: bias %.3f, scatter %.3f, stated %.3f degrees; 95 %% interval holds %.3f; %d of %d answered", tt.name, mean, scatter, stated/float64(n), cover, n, trials)
		if math.Abs(mean) > 4*scatter/math.Sqrt(float64(n)) || cover < 0.93 || cover > 0.99 || n < trials*98/100 {
			t.Errorf("%s: bias %.3f of scatter %.3f, coverage %.3f, %d answers", tt.name, mean, scatter, cover, n)
		}
	}
}

func TestQUESTCovariance(t *testing.T) {
	// Two directions at right angles, each good to s: s^2 across their plane's
	// normal... by the sum of (I - b b^T)/s^2 the turn about b1 rests on b2 alone
	// and that about the normal on both.
	// Source: Shuster and Oh (1981), J. Guidance and Control 4(1), eq. 97 (from
	// memory), worked by hand.
	s := solver{poseDeg: 1}
	poses := []Pose{{Want: r3.Vec{X: 50}, Got: r3.Vec{X: 50}}, {Want: r3.Vec{Y: 50}, Got: r3.Vec{Y: 50}}, {Want: r3.Vec{Y: -50}, Got: r3.Vec{Y: -50}}}
	fit, ok := s.fit(poses)
	if !ok {
		t.Fatal("no fit")
	}
	one := (1 * math.Pi / 180) * (1 * math.Pi / 180)
	want := magmath.Diagonal(one/2, one, one/3)
	for i := range 3 {
		for j := range 3 {
			if math.Abs(fit.cov[i][j]-want[i][j]) > 1e-9*one {
				t.Errorf("covariance %v, want %v", fit.cov, want)
			}
		}
	}
}
