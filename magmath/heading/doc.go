// Package heading computes the heading error that a magnetic disturbance causes in a
// compass, and what turning the craft tells of the disturbance.
//
// The compass meant here reads the direction of the horizontal part of the
// field at its sensor and knows which way is down, as a module with an
// accelerometer does. Vectors are in the craft frame (x forward, y right, z
// down) in microtesla unless said otherwise, H is the horizontal part of the
// Earth's field at the site in microtesla, angles are in degrees, clockwise
// seen from above.
//
// Heading errors are the worst over all headings, and over all attitudes up to
// a stated tilt. Their estimates are quantiles of the posterior of the error
// itself, over the disturbance, the slip of the hand that sets the module down, and
// H: a [Mounting] states tilt, slip and H. The error of the mean vector would be too
// small, because noise never cancels in a magnitude.
//
// In come the mean and covariance of a disturbance, or of several loads; out go
// an [Error] and the worst combination. Start at [NewSampler]; [Permanent] splits a
// disturbance captured in several directions into permanent and induced parts.
package heading
