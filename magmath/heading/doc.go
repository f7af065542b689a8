// Package heading is about compasses: the heading error that a magnetic
// disturbance causes, how a sensor lies in a craft (the arrow check), and the
// deviation of a compass on headings all round (the swing).
//
// The compass meant here reads the direction of the horizontal part of the
// field at its sensor and knows which way is down, as a module with an
// accelerometer does. Vectors are in the craft frame (x forward, y right, z
// down) in microtesla unless said otherwise, H is the horizontal part of the
// Earth's field at the site in microtesla, angles are in degrees, clockwise
// seen from above. Deviation is magnetic less compass heading, east positive.
//
// Heading errors are the worst over all headings, and over all attitudes up to
// a stated tilt. Their estimates are quantiles of the posterior of the error
// itself: the error of the mean vector would be too small, because noise never
// cancels in a magnitude.
//
// Poses and headings that contradict one another are searched for the one slip
// that explains them. What cannot be answered is an error that says what is
// missing; what can be answered with caution carries a remark or a Cause.
package heading
