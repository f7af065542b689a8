package link

// schema is the format by which lines are read.
type schema struct {
	columns    Columns // nil: by labels
	named      bool    // the columns were given, not guessed
	labels     int     // labels and words that a line of numbers has besides
	bareIsMag  bool    // labels x, y, z alone mean the field
	first      role    // the axis that opens a vector over several lines; roleNone: none does
	timeUnit   unit
	fixedScale bool // scale holds whatever unit is printed
	scale      float64
	accScale   float64 // g per unit where none is printed; 0: leave accelerations out
}

// reading is one vector and its accompanying values, in printed units.
type reading struct {
	v       [nRoles]float64
	have    uint32
	unit    unit // of the field, as printed
	accUnit unit
	tUnit   unit
	frac    bool // some number was written with a point
	sure    bool // a label says that it is the magnetic field
}

const (
	magMask = 1<<roleX | 1<<roleY | 1<<roleZ
	accMask = 1<<roleAX | 1<<roleAY | 1<<roleAZ
)

func (r *reading) set(k role, v float64) {
	r.v[k] = v
	r.have |= 1 << k
}

func (r *reading) has(k role) bool { return r.have&(1<<k) != 0 }

// verdict is the result of adding a line.
type verdict uint8

const (
	vOther  verdict = iota // no numbers of ours
	vVector                // completes a vector
	vPart                  // adds something
	vBad                   // numbers that cannot be read
)

// assembler turns scanned lines into readings, from several lines if necessary.
type assembler struct {
	schema
	pend       reading
	unfinished int
}

// take adds a line. At vVector, pend is complete, and the caller must call clear
// after using it.
func (a *assembler) take(sc *scanned) verdict {
	if sc.n == 0 {
		return vOther
	}
	if f := sc.fields[0]; sc.n == 1 && f.role == roleID && f.label && !f.bad {
		a.pend.set(roleID, f.value)
		return vPart
	}
	if a.columns != nil {
		return a.takeColumns(sc)
	}
	return a.takeLabels(sc)
}

// clear discards the vector; the number of the sensor holds until the next one.
func (a *assembler) clear() {
	id, has := a.pend.v[roleID], a.pend.has(roleID)
	a.pend = reading{}
	if has {
		a.pend.set(roleID, id)
	}
}

func (a *assembler) takeColumns(sc *scanned) verdict {
	extra := sc.labels + sc.words
	if sc.n != len(a.columns) || sc.more || !a.named && extra != a.schema.labels {
		if extra > a.schema.labels {
			return vOther
		}
		return vBad
	}
	for i, c := range a.columns {
		f := &sc.fields[i]
		if c.role == roleNone {
			continue
		}
		if f.bad || f.glued {
			return vBad
		}
		u := f.unit
		if u == unitNone {
			u = c.unit
		}
		a.store(c.role, f, u)
	}
	return vVector
}

// store keeps one number and its unit.
func (a *assembler) store(k role, f *field, u unit) {
	p := &a.pend
	p.set(k, f.value)
	switch {
	case k <= roleZ:
		p.frac = p.frac || f.frac
		if u.microtesla() > 0 {
			p.unit = u
		}
	case k <= roleAZ:
		if u.gravities() > 0 {
			p.accUnit = u
		}
	case k == roleT:
		if u.seconds() > 0 {
			p.tUnit = u
		}
	}
}

func (a *assembler) takeLabels(sc *scanned) verdict {
	lists(sc)
	mag := uint32(0)
	for i := range sc.n {
		f := &sc.fields[i]
		k := a.roleIn(f)
		if k == roleNone {
			continue
		}
		if f.bad {
			return vBad
		}
		if k <= roleZ {
			mag |= 1 << k
		}
	}
	if !a.begin(mag) {
		return vPart
	}
	stored := false
	for i := range sc.n {
		f := &sc.fields[i]
		if k := a.roleIn(f); k != roleNone {
			a.store(k, f, f.unit)
			if k <= roleZ && f.role <= roleZ {
				a.pend.sure = true
			}
			stored = true
		}
	}
	switch {
	case mag != 0 && a.pend.have&magMask == magMask:
		return vVector
	case stored:
		return vPart
	}
	return vOther
}

// begin starts or continues a vector over several lines with a line that has the
// axes mag: false if the start of the vector was missed.
func (a *assembler) begin(mag uint32) bool {
	if mag == 0 {
		return true
	}
	old := a.pend.have & magMask
	opens := mag == magMask || a.first == roleNone || mag&(1<<a.first) != 0
	switch {
	case opens && old != 0 && (a.first != roleNone || mag == magMask), old&mag != 0:
		a.unfinished++
		a.pend.have &^= magMask
		a.pend.unit = unitNone
		return opens
	case !opens && old == 0:
		a.unfinished++
		return false
	}
	return true
}

// roleIn returns the role of a labelled number under this schema.
func (a *assembler) roleIn(f *field) role {
	k := f.role
	if k >= roleBareX && k <= roleBareZ && a.bareIsMag {
		return roleX + k - roleBareX
	}
	if k >= roleGyro {
		return roleNone
	}
	return k
}

// lists sets the roles of the numbers of "mag: 1, 2, 3".
func lists(sc *scanned) {
	for i := 0; i+2 < sc.n; i++ {
		f := sc.fields[i : i+3]
		if !f[0].label || f[1].label || f[2].label {
			continue
		}
		base := roleNone
		switch {
		case f[0].role == roleList, f[0].role == roleNone && f[0].group == groupMag:
			base = roleX
		case f[0].role == roleNone && f[0].group == groupAcc:
			base = roleAX
		}
		if base == roleNone {
			continue
		}
		u := f[2].unit
		for j := range f {
			f[j].role = base + role(j)
			if f[j].unit == unitNone {
				f[j].unit = max(u, f[0].unit)
			}
		}
	}
}
