// Package change tells a real change of a craft from what two surveys of it
// differ by anyway. Its input are the differences, after less before, of a
// vector quantity at the same stations, with their joint covariance.
//
// Two things that are no change of the craft explain part of any difference
// and are taken out first, each with a prior: a change common to all stations
// (another room, another offset of the probe) and a small turn common to all
// (the probe held a few degrees round from last time), which changes each
// station's vector d by t x d. With
//
//	D = H u + c + e,  e ~ N(0, C),  u ~ N(0, P),
//
// D of stations that did not change is N(0, V), V = C + H P H^T, and what the
// others say of a station is a conditional normal distribution. Each station
// is tested against it: the squared Mahalanobis distance is chi-square with
// three degrees of freedom where nothing changed. Stations that did change
// must not speak for others: the tests rest on a clean set, grown from the
// half of the stations that agree best.
//
// A change that is alike everywhere goes into the common part and cannot be
// seen; nor can one that is a turn of everything.
//
// Craft frame, millimetres, microtesla, degrees.
//
// Source: N. Billor, A. S. Hadi, P. F. Velleman (2000), BACON: blocked
// adaptive computationally efficient outlier nominators, Computational
// Statistics and Data Analysis 34, 279-298, for growing a clean set.
package change
