package arrow

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// leaveOne leaves out the pose without which the others agree best; i is -1
// where no pose alone is to blame.
func (s solver) leaveOne(poses []Pose, o Options) (rest []Pose, best turn, i int) {
	i = -1
	if len(poses) <= s.fewest() {
		return nil, best, i
	}
	for k := range poses {
		others := slices.Delete(slices.Clone(poses), k, k+1)
		if o.enough(s, others) != nil {
			continue
		}
		t, ok := s.fitRoom(others, o)
		if !ok || !magmath.Plausible(t.chi2, t.dof) || i >= 0 && t.chi2 >= best.chi2 {
			continue
		}
		rest, best, i = others, t, k
	}
	return rest, best, i
}

// looksLike returns the pose that a reading would fit.
func (s solver) looksLike(t turn, p Pose, field r3.Vec) PoseName {
	best, name := looksLike, PoseName("")
	for _, n := range PoseNames() {
		want, _ := n.In(field)
		p.Want = want
		if d := s.left(t, p); n != p.Name && d < best {
			best, name = d, n
		}
	}
	return name
}

// enough refuses poses whose directions, whatever was read, cannot answer.
func (o Options) enough(s solver, poses []Pose) error {
	if n := distinct(poses); n < s.fewest() {
		return o.refuse(s, poses, fmt.Sprintf("%s at different poses, and %d are needed%s", captures(n), s.fewest(), s.because()))
	}
	if s.evidence(poses) < 2*handEvidence {
		return o.refuse(s, poses, "these poses cannot tell mirrored axes from turned ones"+s.because())
	}
	return nil
}

func (s solver) because() string {
	if s.free {
		return " without a calibration"
	}
	return ""
}

func captures(n int) string {
	if n == 1 {
		return "1 capture"
	}
	return fmt.Sprintf("%d captures", n)
}

func distinct(poses []Pose) int {
	seen := map[PoseName]bool{}
	for _, p := range poses {
		seen[p.Name] = true
	}
	return len(seen)
}

// evidence returns the chi square by which the right hand would beat the wrong one
// if every pose were read without fault.
func (s solver) evidence(poses []Pose) float64 {
	ideal := slices.Clone(poses)
	for i := range ideal {
		ideal[i].Got = ideal[i].Want
	}
	t, ok := s.fit(ideal)
	if !ok {
		return 0
	}
	return t.other - t.chi2
}

// refuse names the pose that would help most.
func (o Options) refuse(s solver, poses []Pose, why string) error {
	best, missing := 0.0, PoseName("")
	noise := 0.5
	if len(poses) > 0 {
		noise = poses[0].NoiseUT
	}
	for _, n := range PoseNames() {
		if slices.ContainsFunc(poses, func(p Pose) bool { return p.Name == n }) {
			continue
		}
		want, _ := n.In(o.Field)
		if e := s.evidence(append(slices.Clone(poses), Pose{Name: n, Want: want, NoiseUT: noise})); e > best*(1+1e-6) {
			best, missing = e, n
		}
	}
	if missing == "" {
		missing = firstMissing(poses)
	}
	return &PosesError{Why: why, Missing: missing}
}

// firstMissing returns the next pose of the usual order.
func firstMissing(poses []Pose) PoseName {
	for _, n := range []PoseName{NoseNorth, NoseEast, NoseDown, NoseSouth, NoseUp, NoseWest, RightDown, LeftDown} {
		if !slices.ContainsFunc(poses, func(p Pose) bool { return p.Name == n }) {
			return n
		}
	}
	return ""
}
