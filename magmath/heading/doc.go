// Package heading turns a magnetic disturbance into the heading error that a
// compass would suffer from it.
//
// The compass meant here reads the direction of the horizontal part of the
// field at its sensor and knows which way is down, as a module with an
// accelerometer does. Vectors are in the craft frame (x forward, y right, z
// down) in microtesla, H is the horizontal part of the Earth's field at the
// site in microtesla, angles are in degrees. Errors are the worst over all
// headings, and over all attitudes up to a stated tilt.
//
// Estimates are quantiles of the posterior of the error itself: the error of
// the mean vector would be too small, because noise never cancels in a
// magnitude.
package heading
