package link

// unit is the unit of a number or of a column's name.
type unit uint8

const (
	unitNone unit = iota
	unitUT
	unitNT
	unitMT
	unitT
	unitG     // gauss, upper case or spelt out
	unitMG    // milligauss
	unitSmall // "g": gauss or gravity, by the quantity it stands at
	unitMilli // "mg": likewise
	unitMPS2  // m/s^2
	unitS
	unitMS
	unitUS
	unitA
	unitOther // known, and none of ours: degrees, rad/s, volts ...
)

// microtesla returns how many microtesla one of the unit is, 0 if it is none of
// flux density. 1 gauss = 100 microtesla.
// Source: BIPM, The International System of Units (SI Brochure), 9th edition,
// 2019, section 4 (1 G corresponds to 1e-4 T).
func (u unit) microtesla() float64 {
	switch u {
	case unitUT:
		return 1
	case unitNT:
		return 1e-3
	case unitMT:
		return 1e3
	case unitT:
		return 1e6
	case unitG, unitSmall:
		return 100
	case unitMG, unitMilli:
		return 0.1
	}
	return 0
}

// standardGravity is the conventional value of the acceleration of free fall,
// m/s^2. Source: 3rd CGPM (1901), as given in the SI Brochure.
const standardGravity = 9.80665

// gravities returns how many g one of the unit is, 0 if it is no acceleration.
func (u unit) gravities() float64 {
	switch u {
	case unitSmall, unitG:
		return 1
	case unitMilli, unitMG:
		return 1e-3
	case unitMPS2:
		return 1 / standardGravity
	}
	return 0
}

// seconds returns how many seconds one of the unit is, 0 if it is no time.
func (u unit) seconds() float64 {
	switch u {
	case unitS:
		return 1
	case unitMS:
		return 1e-3
	case unitUS:
		return 1e-6
	}
	return 0
}

func (u unit) String() string {
	switch u {
	case unitUT:
		return "uT"
	case unitNT:
		return "nT"
	case unitMT:
		return "mT"
	case unitT:
		return "T"
	case unitG, unitSmall:
		return "gauss"
	case unitMG, unitMilli:
		return "milligauss"
	}
	return ""
}

// parseUnit reads a unit as printed. The case of g matters: G is gauss, g may
// be gravity.
func parseUnit(b []byte) unit {
	switch string(b) {
	case "uT", "ut", "UT", "\u00b5T", "\u03bcT", "\xb5T", "microtesla", "micro-tesla", "uTesla":
		return unitUT
	case "nT", "nt", "NT", "nanotesla":
		return unitNT
	case "mT", "millitesla":
		return unitMT
	case "T", "tesla":
		return unitT
	case "G", "gauss", "Gauss", "GAUSS", "Gs", "gs":
		return unitG
	case "mG", "mgauss", "mGauss", "milligauss", "mGs", "MG":
		return unitMG
	case "g":
		return unitSmall
	case "mg":
		return unitMilli
	case "m/s^2", "m/s2", "m/s\u00b2", "mps2", "ms2", "m/s/s":
		return unitMPS2
	case "s", "sec":
		return unitS
	case "ms", "msec":
		return unitMS
	case "us", "usec", "\u00b5s", "\u03bcs":
		return unitUS
	case "A", "a":
		return unitA
	case "rad/s", "deg/s", "dps", "deg", "degrees", "rad", "\u00b0", "\xb0", "C", "\u00b0C", "V", "v", "Hz", "hPa", "%", "LSB", "lsb", "m", "mA":
		return unitOther
	}
	return unitNone
}
