// Package geomag computes the main geomagnetic field of a spherical-harmonic
// model, above all the World Magnetic Model 2025, which it carries.
//
// Places are on the WGS 84 ellipsoid: geodetic latitude and longitude in
// degrees, height above the ellipsoid in metres. Dates are decimal years.
// Fields are in nanotesla, as the standard gives them, with X to the north, Y
// to the east and Z down; angles are in degrees.
//
// The model knows the core's field only: no crust, no magnetic storm, no
// building and no craft. Uncertainty says how far the real field strays from
// it outdoors. An answer that should not be trusted still comes, together with
// a warning from Validity or a zone from ZoneOf; errors are kept for input
// that has no answer.
package geomag
